"""What goes out as CSV and comes in elsewhere is what it was: nothing lost, nothing rounded, nothing run."""

import csv
import io
import re
import uuid
from dataclasses import replace

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as some

from coaching.exchange.cell_text import guarded, unguarded
from coaching.exchange.columns import NOT_CARRIED, PAIN_FILE, PLANS_FILE, SETS_FILE
from coaching.models import AuditEvent, LoggedSet, PainReport, Session
from coaching.operations.imports import Asked
from coaching.operations.pain import record_pain_report
from coaching.operations.plans import rewrite_plan, write_plan
from coaching.operations.sessions import confirm_set, record_batch, record_session
from coaching.reads.plans import BlockContent, DayContent, PlanContent, WarmUpStep
from tests import csv_records as records
from tests.csv_records import NOW, owner_of
from tests.plan_builders import prescription

pytestmark = pytest.mark.django_db


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def carried(content: bytes) -> list[dict[str, str]]:
    return [{key: cell for key, cell in row.items() if key not in NOT_CARRIED} for row in rows_of(content)]


def stored(entries, reports=()):
    client = records.empty_practice(uuid.uuid4())
    actor = owner_of(client.practice, client)
    items = record_batch(actor=actor, client=client, entries=entries, now=NOW)
    assert [item.error for item in items] == [None] * len(entries)
    for entry in reports:
        record_pain_report(actor=actor, client=client, entry=entry, now=NOW)
    return client


@settings(max_examples=8, phases=[Phase.generate])
@given(some.lists(records.sessions(), max_size=2), some.lists(records.pain_reports(), max_size=2))
def test_sessions_and_pain_come_back_to_the_byte(entries, reports):
    here = stored(entries, reports)
    there = records.empty_practice(here.uid)
    sets, pain = records.sets_out(here), records.pain_out(here)
    done = records.sets_in(there, sets)
    assert (done.problems, done.sessions_new) == ((), len(entries))
    assert records.pain_in(there, pain).problems == ()
    # A report given to a session is a new version of it, and there it was given once more.
    assert records.but_for_versions(records.sets_out(there)) == records.but_for_versions(sets)
    assert records.pain_out(there) == pain
    again = records.sets_in(there, sets)
    assert (again.sessions_new, again.sessions_standing) == (0, len(entries))
    assert records.pain_in(there, pain).reports_new == 0


@settings(max_examples=8, phases=[Phase.generate])
@given(some.lists(records.sessions(), max_size=2))
def test_a_file_brought_back_to_where_it_came_from_writes_nothing(entries):
    here = stored(entries)
    before = AuditEvent.objects.count()
    done = records.sets_in(here, records.sets_out(here))
    assert (done.problems, done.sessions_new, done.sessions_standing) == ((), 0, len(entries))
    assert records.pain_in(here, records.pain_out(here)).problems == ()
    assert AuditEvent.objects.count() == before


@given(records.texts() | some.text())
def test_guarding_a_text_is_undone_exactly(text):
    assert unguarded(guarded(text)) == text


@given(records.texts() | some.text())
def test_no_guarded_text_begins_as_a_formula(text):
    assert not re.match(r"[\s\"]*[=+\-@\t\r＝＋－＠]", guarded(text))


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1", "'=1"),
        (" =1", "' =1"),
        ('"=1', "'\"=1"),
        ("＝1", "'＝1"),
        ("'", "''"),
        ("'=", "''="),
        ("a=", "a="),
    ],
)
def test_only_what_could_be_run_gets_an_apostrophe(text, cell):
    assert guarded(text) == cell


def test_an_apostrophe_that_nobody_put_there_stays():
    assert unguarded("'twas heavy") == "'twas heavy"


def squat(load_thousandths, uid=None, **changes):
    entry = {
        "exercise_code": "back_squat",
        "kind": "work",
        "side": "both",
        "load_unit": "kg",
        "reps": 5,
        "duration_s": None,
        "rir": None,
        "ended_by": "target",
        "tempo": "",
        "rest_s": None,
        "follows_previous": False,
        "prescription_uid": None,
    }
    return records.SetEntry(uid=uid or uuid.uuid4(), load_thousandths=load_thousandths, **entry | changes)


def session(day, *of_sets, **changes):
    told = {
        "ended_at": None,
        "session_rpe": None,
        "note": "",
        "scheduled_session_uid": None,
        "pain_reports": (),
    }
    begins = NOW.replace(month=2, day=day)
    return records.SessionEntry(uid=uuid.uuid4(), performed_at=begins, sets=of_sets, **told | changes)


def test_what_waits_to_be_confirmed_waits_there_and_what_is_confirmed_does_not():
    waiting, confirmed = squat(900_000), squat(800_000)
    here = stored([session(1, squat(100_000)), session(2, waiting), session(3, confirmed)])
    confirm_set(actor=owner_of(here.practice, here), set_uid=confirmed.uid, now=NOW)
    there = records.empty_practice(here.uid)
    records.sets_in(there, records.sets_out(here))
    held_back = LoggedSet.objects.filter(session__client=there, is_to_confirm=True)
    assert [row.uid for row in held_back] == [waiting.uid]
    assert carried(records.sets_out(there)) == carried(records.sets_out(here))


def test_an_edited_session_travels_as_it_stands():
    first = session(1, squat(100_000))
    here = stored([first])
    actor = owner_of(here.practice, here)
    edited = replace(first, note="=heavier", sets=(squat(110_000),))
    record_session(actor=actor, client=here, entry=edited, now=NOW, expected_version=1)
    there = records.empty_practice(here.uid)
    records.sets_in(there, records.sets_out(here))
    assert rows_of(records.sets_out(here))[0]["version"] == "2"
    assert carried(records.sets_out(there)) == carried(records.sets_out(here))


def test_what_is_not_carried_is_told_with_its_reason_and_is_a_column():
    assert set(NOT_CARRIED) <= {*SETS_FILE, *PAIN_FILE, *PLANS_FILE}
    assert all(NOT_CARRIED.values())


def test_a_session_without_sets_is_a_row_of_its_own():
    here = stored([session(1, note="Rested")])
    (row,) = rows_of(records.sets_out(here))
    assert (row["exercise"], row["session_note"]) == ("", "Rested")


def test_numbers_are_written_as_they_were_entered():
    here = stored([session(1, squat(1), squat(2_000_000, load_unit="lb", rir=0.0), squat(0, reps=0))])
    loads = [
        (row["load"], row["load_unit"], row["reps"], row["rir"]) for row in rows_of(records.sets_out(here))
    ]
    assert loads == [("0.001", "kg", "5", ""), ("2000", "lb", "5", "0"), ("0", "kg", "0", "")]


def test_a_file_is_rfc_4180_with_a_header():
    content = records.sets_out(stored([session(1, squat(1), note='a "b"\nc')]))
    assert content.startswith(b"client,session,performed_at,") and content.endswith(b"\r\n")
    assert b'"a ""b""\nc"' in content
    assert b"2026-02-01T13:00:00+01:00" in content


def test_rows_that_a_spreadsheet_has_sorted_are_put_in_order_again():
    here = stored([session(1, squat(100_000), squat(90_000), squat(80_000))])
    header, *lines = records.sets_out(here).split(b"\r\n")[:-1]
    there = records.empty_practice(here.uid)
    records.sets_in(there, b"\r\n".join([header, *reversed(lines)]))
    assert records.sets_out(there) == records.sets_out(here)


def test_other_content_under_the_same_ids_is_a_conflict_told_by_its_row():
    here = stored([session(1, squat(100_000)), session(2, squat(100_000))])
    changed = records.sets_out(here).replace(b",100,", b",105,", 1)
    done = records.sets_in(here, changed)
    assert [(row.line, row.code) for row in done.problems] == [(2, "conflict")]
    assert not LoggedSet.objects.filter(load_thousandths=105_000).exists()


def test_ids_of_sets_that_are_used_elsewhere_are_told_before_anything_is_written():
    here = stored([session(1, squat(100_000))])
    uid = str(Session.objects.get(client=here).uid).encode()
    moved = records.sets_out(here).replace(uid, str(uuid.uuid4()).encode())
    assert [(row.line, row.column, row.code) for row in records.sets_in(here, moved).problems] == [
        (2, "set", "conflict")
    ]
    assert Session.objects.filter(client=here).count() == 1


def test_pain_needs_its_session_there_unless_links_are_left_out():
    report = records.PainEntry(uuid.uuid4(), "knee", "left", "", "during", 3, {}, "", NOW)
    here = stored([session(1, squat(100_000), pain_reports=(report,))])
    there = records.empty_practice(here.uid)
    pain = records.pain_out(here)
    done = records.pain_in(there, pain)
    assert [(row.line, row.column, row.code) for row in done.problems] == [(2, "session", "unknown")]
    assert records.pain_in(there, pain, Asked(leaves_out_links=True)).reports_new == 1
    assert PainReport.objects.get(client=there).session is None


def every_kind_of_plan(name="=Plan; 'A'") -> PlanContent:
    steps = (WarmUpStep(0.1, 1, 0), WarmUpStep(0.30000000000000004, 20, 3600))
    squats = prescription(
        "back_squat",
        side="both",
        reps_high=1000,
        tempo="3-1-X-0",
        rest_s=0,
        warm_up_steps=steps,
        alternatives=("belt_squat", "leg_press"),
        effort_target="reps_in_reserve",
        rir_target=0.5,
        load_rule="fixed",
        load_kg=62.123456789,
    )
    curls = prescription(
        "leg_extension", has_warm_up_ramp=False, load_rule="share_of_1rm", share_of_1rm=0.725, rest_s=None
    )
    plank = prescription(
        "plank", side="both", reps_low=None, reps_high=None, duration_s=45, has_warm_up_ramp=False
    )
    pair = BlockContent("back_to_back", 0, ("second_half_load", "reps"), (curls, squats))
    alone = BlockContent("straight_sets", 3600, (), (plank,))
    days = (DayContent(6, "-Sunday\u05e9", (pair, alone)), DayContent(0, "Monday", (alone,)))
    return PlanContent(name, 104, (8, 4), days)


@pytest.fixture
def planned():
    """A practice with a plan in three versions, the last of which only has another name."""
    client = records.empty_practice(uuid.uuid4())
    actor = owner_of(client.practice, client)
    first = replace(every_kind_of_plan(), weeks=4, deload_weeks=())
    plan = write_plan(actor=actor, content=first, now=NOW).plan
    for number, content in enumerate((every_kind_of_plan(), every_kind_of_plan("@Later")), start=1):
        rewrite_plan(actor=actor, plan_uid=plan.uid, content=content, expected_version=number, now=NOW)
    return client


def test_a_plan_comes_back_to_the_byte_with_all_its_versions(planned):
    there = records.empty_practice(uuid.uuid4())
    content = records.plans_out(planned.practice)
    done = records.plans_in(there, content)
    assert (done.problems, done.plans_new, done.rows) == ((), 1, 12)
    assert records.plans_out(there.practice) == content
    again = records.plans_in(there, content)
    assert (again.plans_new, again.plans_standing) == (0, 1)


def test_a_plan_without_ids_gets_new_ones_and_is_still_once(planned):
    lines = rows_of(records.plans_out(planned.practice))
    page = io.StringIO(newline="")
    kept = [column for column in PLANS_FILE if column not in ("plan", "prescription")]
    writer = csv.DictWriter(page, kept, extrasaction="ignore")
    writer.writeheader()
    writer.writerows(lines)
    content = page.getvalue().encode()
    assert records.plans_in(planned, content).plans_new == 1
    assert records.plans_in(planned, content).plans_standing == 1


def test_sets_keep_their_prescriptions_where_the_plan_came_along(planned):
    actor = owner_of(planned.practice, planned)
    plan_row = rows_of(records.plans_out(planned.practice))[1]
    entry = session(1, squat(50_000, prescription_uid=uuid.UUID(plan_row["prescription"])))
    record_batch(actor=actor, client=planned, entries=[entry], now=NOW)
    there = records.empty_practice(planned.uid)
    sets = records.sets_out(planned)
    assert [row.column for row in records.sets_in(there, sets).problems] == ["prescription"]
    records.plans_in(there, records.plans_out(planned.practice))
    assert records.sets_in(there, sets).problems == ()
    assert records.sets_out(there) == sets


@pytest.mark.parametrize(
    ("before", "after", "line", "column", "code"),
    [
        (b",62.123456789,", b",,", 3, "load_kg", "required"),
        (b",62.123456789,", b",1e9,", 3, "load_kg", "invalid"),
        (b",back_squat,", b",no_such_lift,", 3, "exercise", "unknown_exercise"),
        (b",4 8,", b",four,", 2, "deload_weeks", "invalid"),
        (b",second_half_load reps,", b",faith,", 2, "levers", "invalid_choice"),
        (b",0.1x1/0 ", b",0.1x1 ", 3, "warm_up_steps", "invalid"),
    ],
)
def test_a_plan_that_cannot_be_trained_is_told_by_its_row(planned, before, after, line, column, code):
    """The file is cut down to its first version."""
    there = records.empty_practice(uuid.uuid4())
    content = records.plans_out(planned.practice).replace(b",8 4,", b",4 8,")
    only_first = [
        row for row in content.splitlines(keepends=True) if b",1,2026" in row or row.startswith(b"plan")
    ]
    text = b"".join(only_first)
    changed = text.replace(before, after, 1)
    if before == b",4 8,":
        changed = text.replace(b",4,,1,", b",4,four,1,")
    done = records.plans_in(there, changed)
    assert (line, column, code) in [(row.line, row.column, row.code) for row in done.problems]
    assert done.plans_new == 0 and not done.is_written
