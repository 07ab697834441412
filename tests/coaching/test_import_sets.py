"""A file of sets from the command line: what is read, what is refused, what is stored, how it ends."""

import io
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from coaching.exchange import table
from coaching.management import telling
from coaching.models import Actor, AuditEvent, Consent, LiftDay, LoggedSet, Role, Session
from coaching.operations import imports
from coaching.operations.sessions import delete_session, record_batch
from tests.conftest import Cast
from tests.factories import NOW, ClientFactory, ExerciseFactory

HEADER = "client,performed_at,exercise,load,reps,rir"
GOOD = "Mira Lift,2026-03-02T18:00:00+01:00,back_squat,100,5,2"


@dataclass(frozen=True)
class Done:
    status: int
    said: str
    warned: str

    @property
    def told(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.said)
        return found

    @property
    def faults(self) -> list[tuple[int, str, str]]:
        return [(each["line"], each["column"], each["code"]) for each in self.told["problems"]]


@pytest.fixture
def run(cast: Cast, tmp_path):
    """Import these lines into the practice of the cast, with one JSON object for an answer."""

    def run_command(*lines: str, content: bytes | None = None, practice: Any = None, **options: Any) -> Done:
        path = tmp_path / "sets.csv"
        path.write_bytes("\n".join(lines).encode() if content is None else content)
        said, warned = io.StringIO(), io.StringIO()
        options = {"practice": str(practice or cast.practice.uid), "json": True} | options
        try:
            call_command("import_sets", str(path), stdout=said, stderr=warned, **options)
        except CommandError as error:
            return Done(error.returncode, said.getvalue(), str(error))
        return Done(0, said.getvalue(), warned.getvalue())

    return run_command


def test_rows_of_one_client_and_one_time_are_one_session_in_the_order_of_the_file(run, cast):
    later = "Mira Lift,2026-03-02T17:00:00Z,barbell_bench_press,60.5,8,1"
    other = "Mira Lift,2026-03-03T18:00:00+01:00,back_squat,105,5,1"
    assert run(HEADER, GOOD, other, later).status == 0
    session = Session.objects.get(performed_on="2026-03-02")
    codes = session.sets.values_list("position", "exercise__code", "load_thousandths")
    assert list(codes) == [(1, "back_squat", 100_000), (2, "barbell_bench_press", 60_500)]
    assert Session.objects.filter(client=cast.client).count() == 2


def test_every_column_is_stored(run):
    header = "client,performed_at,exercise,side,kind,load,load_unit,reps,duration_s,rir,ended_by,tempo"
    row = "Mira Lift,2026-03-02,leg_extension,left,warm_up,45,lb,12,,2.5,technique,3-1-X-0"
    assert run(header, row).status == 0
    stored = LoggedSet.objects.get()
    assert (stored.side, stored.kind, stored.load_thousandths, stored.load_unit) == (
        "left",
        "warm_up",
        45_000,
        "lb",
    )
    assert (stored.reps, stored.rir, stored.ended_by, stored.tempo) == (12, 2.5, "technique", "3-1-X-0")


GUESS_HEADER = "client,performed_at,exercise,reps,duration_s,guessed_rir,guessed_after_reps,ended_by"


def test_a_stated_reserve_is_stored_with_the_repetition_it_was_stated_after(run):
    assert run(GUESS_HEADER, "Mira Lift,2026-03-02,back_squat,9,,2.5,5,failure").status == 0
    stored = LoggedSet.objects.get()
    assert (stored.guessed_rir, stored.guessed_after_reps, stored.ended_by) == (2.5, 5, "failure")


@pytest.mark.parametrize(
    ("cells", "column", "code"),
    [
        ("back_squat,9,,2,", "guessed_after_reps", "required"),
        ("back_squat,9,,,4", "guessed_rir", "required"),
        ("back_squat,9,,2,10", "guessed_after_reps", "out_of_range"),
        ("back_squat,9,,2.3,4", "guessed_rir", "invalid"),
        ("back_squat,9,,2,-1", "guessed_after_reps", "invalid"),
        ("plank,,45,2,0", "guessed_rir", "invalid"),
    ],
)
def test_a_guess_that_cannot_be_is_told_by_its_column(run, cells, column, code):
    assert run(GUESS_HEADER, f"Mira Lift,2026-03-02,{cells},failure").faults == [(2, column, code)]


def test_what_is_left_out_takes_its_default(run):
    assert run("client,performed_at,exercise,reps", "Mira Lift,2026-03-02,back_squat,5").status == 0
    stored = LoggedSet.objects.get()
    assert (stored.side, stored.kind, stored.load_unit, stored.ended_by) == ("both", "work", "kg", "target")
    assert (stored.load_thousandths, stored.rir, stored.tempo) == (0, None, "")


def test_a_held_exercise_takes_its_duration(run):
    assert run("client,performed_at,exercise,duration_s", "Mira Lift,2026-03-02,plank,45").status == 0
    assert LoggedSet.objects.get().duration_s == 45


def test_a_date_is_noon_where_the_client_lives(run, cast):
    cast.client.zone = "Pacific/Auckland"
    cast.client.save()
    run(HEADER, "Mira Lift,2026-03-02,back_squat,100,5,2")
    session = Session.objects.get()
    assert session.performed_at == datetime(2026, 3, 1, 23, 0, tzinfo=UTC)
    assert str(session.performed_on) == "2026-03-02"


def test_a_client_may_be_given_by_id(run, cast):
    assert run(HEADER, GOOD.replace("Mira Lift", str(cast.client.uid).upper())).status == 0
    assert Session.objects.get().client == cast.client


def test_roll_ups_and_the_trail_come_along_in_the_owners_name(run, cast):
    run(HEADER, GOOD)
    assert LiftDay.objects.get().best_load_kg == 100
    event = AuditEvent.objects.get(record_kind="session", action="create")
    assert (event.account_id, event.device_id) == (cast.owner.account_id, None)


def test_a_load_far_above_the_best_waits_to_be_confirmed(run):
    done = run(HEADER, GOOD, "Mira Lift,2026-03-04,back_squat,1000,5,2")
    assert done.told["sets_to_confirm"] == 1


def test_a_lifts_best_is_taken_in_the_order_of_time_and_not_of_the_file(run):
    steps = [
        f"Mira Lift,2026-03-0{day},back_squat,{load},5,2" for day, load in ((3, 180), (2, 130), (1, 100))
    ]
    assert run(HEADER, *steps).told["sets_to_confirm"] == 0


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbfclient;performed_at;exercise;load;reps\r\nMira Lift;2026-03-02;back_squat;100.5;5\r\n",
        b'\r\n"client","performed_at","exercise","load","reps"\r\n\r\n"Mira Lift","2026-03-02",'
        b'"back_squat","100.5","5"\r\n,,,,\r\n\r\n',
        b" client , performed_at , exercise , load , reps\n Mira Lift , 2026-03-02 , back_squat , 100.5 , 5 ",
    ],
    ids=["semicolons, mark and CRLF", "quoted cells and blank lines", "blanks around cells"],
)
def test_files_of_other_programs_are_read(run, content):
    assert run(content=content).status == 0
    assert LoggedSet.objects.get().load_thousandths == 100_500


def test_a_name_with_a_delimiter_and_letters_of_any_form_is_found(run, cast):
    cast.client.name = "Lift, Zo\u00eb"
    cast.client.save()
    assert run(HEADER, GOOD.replace("Mira Lift", '"Lift, Zoe\u0308"')).status == 0


def test_a_line_number_is_the_first_line_of_its_row_in_the_file(run):
    note = '"Mira\nLift",2026-03-02,back_squat,100,5,2'
    assert run(HEADER, "", note, GOOD.replace("100", "x")).faults == [
        (3, "client", "unknown"),
        (5, "load", "invalid"),
    ]


BAD_CELLS = {
    "client": [("", "required"), ("Nobody Known", "unknown"), ("x" * 201, "too_long")],
    "performed_at": [
        ("", "required"),
        ("yesterday", "invalid"),
        ("2026-02-30", "invalid"),
        ("2026-03-02T18:00:00", "no_offset"),
        ("2026-03-02 18:00:00+01:00", "invalid"),
        ("1989-12-31", "out_of_range"),
        ("0001-01-01T00:00:00+14:00", "out_of_range"),
        ("1990-01-01T00:30:00+05:00", "too_early"),
        ("2099-01-01", "in_the_future"),
    ],
    "exercise": [("", "required"), ("no_such_lift", "unknown")],
    "side": [("middle", "invalid_choice"), ("Left", "invalid_choice")],
    "kind": [("drop", "invalid_choice")],
    "load": [
        ("-1", "invalid"),
        ("2000.5", "invalid"),
        ("1.0005", "invalid"),
        ('"1,5"', "invalid"),
        ("nan", "invalid"),
    ],
    "load_unit": [("st", "invalid_choice")],
    "reps": [("", "required"), ("1001", "invalid"), ("5.5", "invalid"), ("-1", "invalid"), ("٥", "invalid")],
    "duration_s": [("30", "required")],
    "rir": [("20.5", "invalid"), ("1.3", "invalid"), ("-1", "invalid")],
    "ended_by": [("boredom", "invalid_choice")],
    "tempo": [("slow", "invalid"), ("3-1-1", "invalid")],
}
GOOD_CELLS = {"client": "Mira Lift", "performed_at": "2026-03-02", "exercise": "back_squat", "reps": "5"}
ONE_BAD_CELL = [(column, cell, code) for column, cells in BAD_CELLS.items() for cell, code in cells]


@pytest.mark.parametrize(("column", "cell", "code"), ONE_BAD_CELL)
def test_a_bad_cell_is_told_by_its_line_and_column_and_nothing_is_written(run, column, cell, code):
    good = GOOD_CELLS | ({} if column in GOOD_CELLS else {column: ""})
    cells = good | {column: cell}
    done = run(",".join(good), ",".join(good.values()), ",".join(cells.values()))
    told_of = "reps" if column == "duration_s" else column
    assert done.faults == [(3, told_of, code)]
    assert done.status == 2
    assert not Session.objects.exists()


@pytest.mark.parametrize(
    ("row", "code"), [("Mira Lift,2026-03-02,back_squat,100,5", "cells"), (f"{GOOD},x", "cells")]
)
def test_a_row_with_too_few_or_too_many_cells_is_bad(run, row, code):
    assert run(HEADER, row).faults == [(2, "", code)]


def test_an_exercise_is_counted_as_the_catalogue_says(run):
    header = "client,performed_at,exercise,reps,duration_s"
    done = run(header, "Mira Lift,2026-03-02,plank,5,", "Mira Lift,2026-03-02,back_squat,,30")
    assert done.faults == [(2, "duration_s", "required"), (3, "reps", "required")]


def test_every_problem_of_every_row_is_told_in_the_order_of_the_file(run):
    done = run(
        HEADER, "Mira Lift,2026-03-02,no_such_lift,100,5,2", "Mira Lift,never,back_squat,heavy,5,2", GOOD
    )
    assert done.faults == [
        (2, "exercise", "unknown"),
        (3, "performed_at", "invalid"),
        (3, "load", "invalid"),
    ]
    assert (done.told["rows"], done.told["bad_rows"]) == (3, 2)


def test_a_session_holds_two_hundred_sets_and_no_more(run):
    assert run(HEADER, *[GOOD] * 201).faults == [(202, "", "too_many_sets")]
    assert run(HEADER, *[GOOD] * 200).told["sets_new"] == 200


def test_a_day_that_the_calendar_left_out_is_bad(run, cast):
    cast.client.zone = "Pacific/Apia"
    cast.client.save()
    done = run(HEADER, "Mira Lift,2011-12-30,back_squat,100,5,2")
    assert done.faults == [(2, "performed_at", "no_such_day")]


def test_a_client_of_another_practice_is_as_unknown_as_nobody(run, cast):
    stranger = cast.strangers_client
    by_id = run(HEADER, GOOD.replace("Mira Lift", str(stranger.uid)))
    by_name = run(HEADER, GOOD.replace("Mira Lift", stranger.name))
    nobody = run(HEADER, GOOD.replace("Mira Lift", "11111111-1111-4111-8111-111111111111"))
    assert by_id.told == by_name.told == nobody.told
    assert nobody.faults == [(2, "client", "unknown")]


def test_an_exercise_of_another_practice_is_unknown(run, cast):
    ExerciseFactory(code="their_lift", practice=cast.stranger.practice)
    ExerciseFactory(code="our_lift", practice=cast.practice)
    done = run(HEADER, GOOD.replace("back_squat", "their_lift"), GOOD.replace("back_squat", "our_lift"))
    assert done.faults == [(2, "exercise", "unknown")]


def test_a_name_that_two_current_clients_bear_is_ambiguous(run, cast):
    ClientFactory(coach=cast.coach, name="Mira Lift")
    assert run(HEADER, GOOD).faults == [(2, "client", "ambiguous")]


def test_a_name_that_a_former_client_bears_too_means_the_current_one(run, cast):
    ClientFactory(coach=cast.coach, name="Mira Lift", archived_at=NOW)
    assert run(HEADER, GOOD).status == 0
    assert Session.objects.get().client == cast.client


def test_a_client_without_consent_is_told_once_and_nothing_is_written(run, cast):
    Consent.objects.filter(client=cast.client).update(withdrawn_at=NOW)
    done = run(HEADER, GOOD.replace("Mira Lift", "Noel Hinge"), GOOD, GOOD)
    assert done.faults == [(3, "client", "consent_missing")]
    assert not Session.objects.exists()


def test_skipping_the_bad_leaves_a_client_without_consent_out(run, cast):
    Consent.objects.filter(client=cast.client).update(withdrawn_at=NOW)
    done = run(HEADER, GOOD.replace("Mira Lift", "Noel Hinge"), GOOD, skip_bad=True)
    assert done.status == 0
    assert Session.objects.get().client == cast.colleagues_client


def test_a_client_who_has_left_is_refused(run, cast):
    cast.client.archived_at = NOW
    cast.client.save()
    done = run(HEADER, GOOD.replace("Mira Lift", str(cast.client.uid)))
    assert done.faults == [(2, "client", "gone")]


def test_skipping_the_bad_leaves_out_whole_sessions(run):
    bad_set, good_day = GOOD.replace(",100,", ",x,"), GOOD.replace("-02T", "-03T")
    done = run(HEADER, GOOD, bad_set, good_day, skip_bad=True)
    assert done.status == 0
    assert (done.told["sessions_new"], done.told["sessions_refused"]) == (1, 1)
    assert str(Session.objects.get().performed_on) == "2026-03-03"


@pytest.mark.parametrize(
    "row", ["Mira Lift,2026-03-32,back_squat,100,5,2", "Mira Lift,2026-03-02,back_squat"]
)
def test_a_bad_row_without_a_time_takes_all_sessions_of_its_client_along(run, cast, row):
    done = run(HEADER, GOOD, row, GOOD.replace("Mira Lift", "Noel Hinge"), skip_bad=True)
    assert (done.told["sessions_new"], done.told["sessions_refused"]) == (1, 1)
    assert Session.objects.get().client == cast.colleagues_client


def test_skipping_the_bad_ends_badly_where_nothing_good_is_left(run):
    assert run(HEADER, GOOD.replace(",100,", ",x,"), skip_bad=True).status == 2


def test_a_dry_run_counts_and_writes_nothing(run, cast):
    done = run(HEADER, GOOD, dry_run=True)
    assert done.status == 0
    assert (done.told["sessions_new"], done.told["sets_new"], done.told["is_written"]) == (1, 1, False)
    assert not Session.objects.exists() and not AuditEvent.objects.exists()


def test_a_dry_run_of_a_bad_file_ends_as_the_real_one_would(run):
    bad = GOOD.replace(",100,", ",x,")
    assert run(HEADER, bad, dry_run=True).status == 2
    assert run(HEADER, bad, GOOD.replace("-02T", "-03T"), dry_run=True, skip_bad=True).status == 0
    assert not Session.objects.exists()


def test_twice_is_once(run):
    rows = [GOOD, GOOD.replace("-02T18:00:00+01:00", "-03"), GOOD.replace("Mira Lift", "Noel Hinge")]
    run(HEADER, *rows)
    before = [
        *Session.objects.values_list("uid", "version", "received_at"),
        *LoggedSet.objects.values_list("uid"),
    ]
    again = run(HEADER, *reversed(rows))
    after = [
        *Session.objects.values_list("uid", "version", "received_at"),
        *LoggedSet.objects.values_list("uid"),
    ]
    assert (again.status, again.told["sessions_new"], again.told["sessions_standing"]) == (0, 0, 3)
    assert after == before
    assert AuditEvent.objects.filter(action="create").count() == 3


def test_a_time_in_another_offset_is_the_same_session(run):
    run(HEADER, GOOD)
    again = run(HEADER, GOOD.replace("18:00:00+01:00", "17:00:00Z"))
    assert again.told["sessions_standing"] == 1


def test_a_file_with_new_rows_adds_only_these(run):
    run(HEADER, GOOD)
    done = run(HEADER, GOOD, GOOD.replace("-02T", "-03T"))
    assert (done.told["sessions_new"], done.told["sessions_standing"]) == (1, 1)


def test_a_changed_session_is_never_overwritten(run):
    run(HEADER, GOOD)
    done = run(HEADER, GOOD.replace(",100,", ",110,"), GOOD.replace("-02T", "-03T"))
    assert (done.status, done.faults) == (2, [(2, "", "conflict")])
    assert LoggedSet.objects.get().load_thousandths == 100_000


def test_a_deleted_session_does_not_come_back(run, cast):
    run(HEADER, GOOD)
    owner = Actor(
        account_id=cast.owner.account_id,
        device_id=None,
        practice_id=cast.practice.id,
        role=Role.OWNER,
        membership_id=cast.owner.id,
        sees_all_clients=True,
    )
    delete_session(actor=owner, session_uid=Session.objects.get().uid, expected_version=1, now=timezone.now())
    assert run(HEADER, GOOD).faults == [(2, "", "gone")]
    assert not LoggedSet.objects.exists()


def test_what_changes_between_check_and_writing_is_told_and_the_rest_is_written(run, cast, monkeypatch):
    def store_and_withdraw(**arguments):
        items = record_batch(**arguments)
        Consent.objects.filter(client=cast.colleagues_client).update(withdrawn_at=NOW)
        return items

    monkeypatch.setattr(imports, "record_batch", store_and_withdraw)
    done = run(HEADER, GOOD, GOOD.replace("Mira Lift", "Noel Hinge"))
    assert (done.status, done.faults) == (2, [(3, "", "consent_missing")])
    assert Session.objects.get().client == cast.client


def test_more_sessions_than_a_batch_are_all_stored(run):
    days = [
        f"Mira Lift,2025-{month:02}-{day:02},back_squat,100,5,2"
        for month in (1, 3, 5, 7)
        for day in range(1, 32)
    ]
    assert run(HEADER, *days).told["sessions_new"] == 124
    assert Session.objects.count() == 124


UNREADABLE = {
    "no line": b"",
    "NUL byte": b"client,performed_at,exercise,reps\nMira\x00,2026-03-02,back_squat,5\n",
    "UTF-16": HEADER.encode("utf-16"),
    "Latin-1": "client,performed_at,exercise,reps\nZo\u00eb,2026-03-02,back_squat,5\n".encode("latin-1"),
    "unknown column": b"client,performed_at,exercise,reps,mood\n",
    "unnamed column": b"client,,performed_at,exercise,reps\n",
    "column in capitals": b"Client,performed_at,exercise,reps\n",
    "column given twice": b"client,performed_at,exercise,reps,reps\n",
    "column missing": b"client,performed_at,reps\n",
    "neither reps nor duration": b"client,performed_at,exercise,load\n",
    "quote never closed": b'client,performed_at,exercise,reps\n"Mira,2026-03-02,back_squat,5\n',
    "endless cell": b"client,performed_at,exercise,reps\n" + b"x" * 140_000 + b",2026-03-02,back_squat,5\n",
}
SAID_OF_UNREADABLE = {
    "no line": "The file is empty",
    "NUL byte": "Line 2 holds a NUL byte",
    "UTF-16": "Line 1 holds a NUL byte",
    "Latin-1": "Line 2 is not UTF-8",
    "unknown column": "'mood' is no column",
    "unnamed column": "'' is no column",
    "column in capitals": "'Client' is no column",
    "column given twice": "names the column reps twice",
    "column missing": "names no column exercise",
    "neither reps nor duration": "names no column reps or duration_s",
    "quote never closed": "Line 2 cannot be read as CSV",
    "endless cell": "Line 2 cannot be read as CSV",
}


@pytest.mark.parametrize("fault", UNREADABLE)
def test_a_file_that_is_no_table_of_sets_ends_with_one(run, fault):
    done = run(content=UNREADABLE[fault])
    assert (done.status, done.said) == (1, "")
    assert SAID_OF_UNREADABLE[fault] in done.warned


def test_a_file_that_is_not_there_ends_with_one(cast, tmp_path):
    with pytest.raises(CommandError, match="cannot be read: No such file") as error:
        call_command("import_sets", str(tmp_path / "none.csv"), practice=str(cast.practice.uid))
    assert error.value.returncode == 1


def test_a_file_with_too_many_rows_ends_with_one(run, monkeypatch):
    monkeypatch.setattr(table, "MAX_ROWS", 2)
    assert run(HEADER, GOOD, GOOD).status == 0
    done = run(HEADER, GOOD, GOOD, GOOD)
    assert (done.status, done.warned) == (1, "The file has more than 2 rows.")


def test_a_file_too_large_ends_with_one(run, monkeypatch):
    size = len(f"{HEADER}\n{GOOD}")
    monkeypatch.setattr(table, "MAX_BYTES", size)
    assert run(HEADER, GOOD).status == 0
    monkeypatch.setattr(table, "MAX_BYTES", size - 1)
    done = run(HEADER, GOOD)
    assert (done.status, "larger than" in done.warned) == (1, True)


def test_an_unknown_practice_ends_with_one(run):
    assert run(HEADER, GOOD, practice="11111111-1111-4111-8111-111111111111").status == 1


def test_a_practice_whose_owner_has_not_accepted_yet_ends_with_one(run, cast):
    cast.owner.left_at = NOW
    cast.owner.save()
    done = run(HEADER, GOOD)
    assert (done.status, "no owner yet" in done.warned) == (1, True)


def test_a_file_without_rows_is_fine(run):
    assert run(HEADER).told["rows"] == 0


def test_a_person_reads_lines(run):
    done = run(HEADER, GOOD, GOOD.replace(",100,", ",x,"), json=False)
    assert done.said.splitlines() == [
        "line 3, load: Give a number from 0 to 2000 with a dot and at most three decimals. (invalid)",
        "2 rows read, 1 of them bad.",
        "Nothing was written. Fit to be written: 0 sessions with 0 sets. There already: 0. Refused: 1.",
    ]
    assert done.warned == "Bad rows: 1."


def test_many_problems_are_cut_short_for_a_person_only(run):
    bad = [GOOD.replace(",100,", ",x,")] * 60
    assert "... and 10 problems more" in run(HEADER, *bad, json=False).said
    assert len(run(HEADER, *bad).told["problems"]) == 60


def test_long_work_tells_how_far_it_is(run, monkeypatch):
    monkeypatch.setattr(telling, "QUIET_S", 0.0)
    assert run(HEADER, GOOD).warned == "1 of 1 stored\n"


def test_short_work_is_silent(run):
    assert run(HEADER, GOOD).warned == ""
