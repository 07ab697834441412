"""Who holds a sheet, a history or a page of sessions is told so without its being made, and never wrongly.

Each walk changes one thing after another by the doors that change it, and sees every field of the answer
change at least once: whenever a body is another one, its tag is, and the old tag is answered with the whole.
"""

import json
import uuid
from contextlib import contextmanager
from datetime import date, timedelta
from threading import Event, Thread

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from api import history, sessions, sheet, trimming
from coaching.models import (
    Account,
    Alert,
    AuditEvent,
    Exercise,
    JointDay,
    Membership,
    Night,
    NightClient,
    Practice,
    ScheduledSession,
    Score,
    Session,
)
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.assignments import assign_plan
from coaching.operations.changes import Changed, note_changes
from coaching.operations.recompute import Difference, mend
from coaching.operations.urgency import record_sign_off
from tests.bodies import pain_body, set_body
from tests.bodies import session_body as posted_session
from tests.factories import NOW, ClientFactory, ConsentFactory
from tests.plan_builders import actor_of, knee_lift, plan_by

TODAY = date(2026, 3, 2)
YESTERDAY = TODAY - timedelta(days=1)
SHEET = "/api/v1/morning-sheet"
LIFT = {
    "exercise": "back_squat", "side": "both", "track": "fresh", "state": "not_assessable",
    "reason": "few_exposures", "exposures_to_go": 2, "assessable_on": "2026-04-01",
    "method": "test of lifts 3",
}  # fmt: skip


@pytest.fixture(autouse=True)
def at_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


class Walk:
    """One reader of one address, step by step."""

    def __init__(self, api, address):
        self.api, self.address = api, address
        self.changed: set[str] = set()
        self.body, self.tag = self.whole()

    def whole(self):
        answer = self.api.get(self.address)
        assert answer.status_code == 200, answer.content
        assert self.api.get(self.address, HTTP_IF_NONE_MATCH=answer["ETag"]).status_code == 304
        return json.loads(answer.content), answer["ETag"]

    def step(self, what, *, shows=True):
        """After `what` was done the old tag stands for nothing any more; `shows`: it can be seen."""
        answer = self.api.get(self.address, HTTP_IF_NONE_MATCH=self.tag)
        assert answer.status_code == (200 if shows else answer.status_code), what
        before, before_tag = self.body, self.tag
        self.body, self.tag = self.whole()
        assert (self.body != before) is shows, what
        assert self.tag != before_tag or not shows, what
        old, new = leaves(before), leaves(self.body)
        self.changed |= {leaf for leaf in {*old, *new} if old.get(leaf) != new.get(leaf)}


def leaves(body, before=""):
    """Place of each value -> all values there, in order."""
    found = {}
    if isinstance(body, dict):
        for name, value in body.items():
            for leaf, values in leaves(value, f"{before}.{name}" if before else name).items():
                found.setdefault(leaf, []).extend(values)
    elif isinstance(body, list):
        for value in body:
            for leaf, values in leaves(value, before).items():
                found.setdefault(leaf, []).extend(values)
    else:
        found[before] = [body]
    return found


def declared(view, before=""):
    """Place of each value that the answer's documentation names."""

    def walk(names, before):
        for name, below in names.items():
            here = f"{before}.{name}" if before else name
            if below:
                yield from walk(below, here)
            else:
                yield here

    return set(walk(trimming.names_of(view), before))


class Doors:
    """What changes rows, as people and the service do."""

    def __init__(self, cast, signed_in):
        self.cast = cast
        self.coach, self.owner, self.client = (
            signed_in(who) for who in (cast.coach, cast.owner, cast.client)
        )
        self.address = f"/api/v1/clients/{cast.client.uid}"

    def ask(self, api, method, address, body=None, version=None):
        headers = {} if version is None else {"If-Match": f'"{version}"'}
        answer = getattr(api, method)(f"/api/v1/{address}", body, format="json", headers=headers)
        assert answer.status_code < 300, answer.content
        return json.loads(answer.content or b"null")

    def post(self, load=100, day="2026-03-01", pain=2, moment="during", **more):
        uid = uuid.uuid4()
        body = posted_session(
            performed_at=f"{day}T18:00:00+01:00", ended_at=f"{day}T18:40:00+01:00",
            sets=[set_body(load=load)],
            pain_reports=[
                pain_body(
                    id=str(uuid.uuid4()), pain=pain, moment=moment, reported_at=f"{day}T18:30:00+01:00"
                )
            ],
        )  # fmt: skip
        self.ask(self.client, "put", f"sessions/{uid}", body | more)
        return uid

    def find(self, on=TODAY, client=None, kind="pain_rising", target="knee:left", **changes):
        """As a night does."""
        finding = {
            "client_id": (client or self.cast.client).id, "kind": kind, "target": target, "severity": 50,
            "sentence": "Pain of the left knee climbs.", "method": "rising 1", "pain_level": 3.0,
            "evidence": {
                "p_value": 0.01, "from_on": "2025-12-01", "to_on": str(YESTERDAY), "worth_asking": ["Why?"],
            },
        }  # fmt: skip
        apply_findings(
            practice_id=self.cast.practice.id, client_ids=[finding["client_id"]],
            findings=[Finding(**finding | changes)], kinds=[kind], on=on, now=NOW,
        )  # fmt: skip

    def score(self, revision=0, night_on=TODAY, **lift):
        Score.objects.create(
            practice=self.cast.practice, client=self.cast.client, night_on=night_on, revision=revision,
            details={"lifts": [LIFT | lift], "tests_run": 5 + revision}, method="night 2", scored_at=NOW,
        )  # fmt: skip

    def night(self, night_on, status="done"):
        return Night.objects.create(
            practice=self.cast.practice, night_on=night_on, zone="Europe/Berlin", status=status,
            planned_at=NOW, started_at=NOW, finished_at=NOW,
        )  # fmt: skip


@pytest.fixture
def doors(cast, signed_in):
    return Doors(cast, signed_in)


def version(row):
    row.refresh_from_db()
    return row.version


# Constants of the code, of which a tag tells by the code's own digest.
CONSTANT = {
    "screening.false_discovery_rate", "screening.computed.method", "screening.computed.version",
    "screening.computed.from_on", "screening.computed.until_on",
}  # fmt: skip


def test_a_sheet_has_another_tag_after_every_change_of_what_it_shows(cast, doors, signed_in, time_machine):
    walk = Walk(doors.coach, SHEET)
    Practice.objects.filter(id=cast.practice.id).update(name="Harbour and Sons")
    walk.step("the practice is renamed")
    Account.objects.filter(id=cast.coach.account_id).update(name="Carla Coach")
    walk.step("the coach is renamed")
    record_sign_off(
        clinician_name="Dana Doctor",
        clinician_profession="surgeon",
        signed_on=YESTERDAY,
        country="DE",
        now=NOW,
    )
    walk.step("a clinician signs off")
    doors.post(load=60, day="2026-02-25")
    walk.step("the first session makes a newcomer")
    suspect = doors.post(load=200)
    walk.step("a load has to be confirmed")
    Exercise.objects.filter(code="back_squat").update(name="Squat with a barbell")
    walk.step("an exercise is called otherwise")
    (row,) = Session.objects.get(uid=suspect).sets.all()
    doors.ask(doors.coach, "post", f"sets/{row.uid}/confirmation")
    walk.step("the load is confirmed")
    for night_on, status in ((TODAY - timedelta(days=2), "skipped"), (YESTERDAY, "done"), (TODAY, "done")):
        night = doors.night(night_on, status)
    walk.step("nights are done")
    failed = NightClient.objects.create(
        practice=cast.practice, night=night, client=cast.client, state="failed", error_code="ValueError"
    )
    walk.step("a client could not be scored")
    NightClient.objects.create(
        practice=cast.practice, night=night, client=cast.client, state="scored", revision=1
    )
    walk.step("and could be scored later")
    assert failed.state == "failed"
    doors.score()
    walk.step("a lift waits")
    doors.score(revision=1, assessable_on=None, reason="low_attendance")
    walk.step("it is scored again")
    doors.find()
    walk.step("a night opens an alert")
    doors.find(severity=55, sentence="Pain of the left knee climbs on.")
    walk.step("the next one updates it")
    alert = Alert.objects.get(kind="pain_rising")
    doors.ask(doors.coach, "post", f"alerts/{alert.uid}/acknowledgement", version=version(alert))
    walk.step("the coach reads it")
    doors.find(severity=90, pain_level=6.0)
    walk.step("it becomes worse")
    doors.ask(doors.coach, "post", f"alerts/{alert.uid}/put-off", {"until_on": "2026-03-09"}, version(alert))
    walk.step("the coach puts it off")
    doors.post(pain=9, moment="after")
    walk.step("pain above the limit is reported")
    doors.find(kind="stalled_lift", target="back_squat:both:fresh", severity=30)
    walk.step("a lift stalls")
    for number in range(11):
        doors.find(kind="over_dose", target=f"of:{number}", severity=70)
    walk.step("more than ten lines stand")
    easily = {"p_value": 0.99, "from_on": "2025-12-01", "to_on": str(YESTERDAY)}
    doors.find(kind="regressing_lift", target="leg_press:both:fresh", evidence=easily)
    walk.step("a trend that may be chance")
    alert = Alert.objects.get(kind="stalled_lift")
    doors.ask(doors.coach, "post", f"alerts/{alert.uid}/closing", {"note": "Seen"}, version(alert))
    walk.step("an alert is closed")
    injury = doors.ask(
        doors.coach, "post", f"clients/{cast.client.uid}/injuries",
        {"joint": "knee", "side": "left", "said": "Sore."},
    )["id"]  # fmt: skip
    place = f"clients/{cast.client.uid}/injuries/{injury}/restrictions"
    limit = {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"}
    restriction = doors.ask(doors.coach, "post", place, limit | {"until_on": "2026-03-05"})["id"]
    walk.step("a restriction ends soon")
    doors.ask(doors.coach, "delete", f"{place}/{restriction}")
    walk.step("a restriction is taken back")
    doors.ask(
        doors.coach, "patch", f"clients/{cast.client.uid}", {"name": "Mira Press"}, version(cast.client)
    )
    walk.step("the client is renamed")
    doors.ask(
        doors.coach, "patch", f"clients/{cast.client.uid}", {"emergency_text": "911"}, version(cast.client)
    )
    walk.step("another emergency number")
    newcomer = ClientFactory(coach=cast.colleague, name="Wanda Wait")
    ConsentFactory(client=newcomer)
    Membership.objects.filter(id=cast.colleague.id).update(
        cover=cast.coach, away_from_on=TODAY, away_until_on=None
    )
    doors.find(client=newcomer)
    walk.step("a colleague is away, and the coach covers")
    Account.objects.filter(id=cast.colleague.account_id).update(name="Cleopatra")
    walk.step("a colleague is renamed")
    Membership.objects.filter(id=cast.colleague.id).update(away_from_on=None, cover=None)
    walk.step("the colleague is back")
    doors.ask(doors.client, "delete", f"clients/{cast.client.uid}/consents/health_data")
    walk.step("the client withdraws the consent")
    doors.ask(
        doors.client, "put", f"clients/{cast.client.uid}/consents/health_data", {"text_version": "2026-01"},
        version=2,
    )  # fmt: skip
    walk.step("and gives it again")
    time_machine.move_to(NOW + timedelta(days=1), tick=False)
    walk.step("a day passes")
    doors.ask(doors.owner, "patch", f"clients/{cast.client.uid}", {"coach": str(cast.colleague.uid)},
              version(cast.client))  # fmt: skip
    walk.step("the client goes to a colleague")
    assert declared(sheet.SheetView) - walk.changed == CONSTANT


def test_a_history_has_another_tag_after_every_change_of_what_it_shows(cast, doors, time_machine):
    address = f"{doors.address}/history?weeks=4"
    walk = Walk(doors.coach, address)
    lift = knee_lift()
    plan = plan_by(cast.coach, lift, weeks=4, deload_weeks=(2,))
    assign_plan(
        actor=actor_of(cast.coach), client_uid=cast.client.uid, plan_uid=plan.uid,
        starts_on=TODAY - timedelta(days=14), override_reason="", now=NOW,
    )  # fmt: skip
    walk.step("a plan lays sessions out")
    scheduled = ScheduledSession.objects.filter(client=cast.client, due_on__lt=TODAY).first()
    doors.ask(
        doors.coach, "patch", f"clients/{cast.client.uid}/scheduled-sessions/{scheduled.uid}",
        {"status": "not_done"}, scheduled.version,
    )  # fmt: skip
    walk.step("a session is not done")
    uids = [doors.post(load=80 + number, day=f"2026-02-{10 + 3 * number}") for number in range(6)]
    walk.step("sessions come in")
    guess = {"ended_by": "failure", "rir": 0, "guessed_rir": 2, "guessed_after_reps": 2}
    for number in range(5):
        doors.post(
            day=f"2026-02-2{number}", sets=[set_body(load=90, **guess), set_body(load=70, side="left")]
        )
    walk.step("sets go to failure after a guess")
    stored = Session.objects.get(uid=uids[-1])
    doors.ask(
        doors.client, "patch", f"sessions/{stored.uid}",
        {"sets": [set_body(load=95, ended_by="pain")]}, stored.version,
    )  # fmt: skip
    walk.step("a session is edited")
    doors.ask(doors.client, "delete", f"sessions/{stored.uid}", version=version(stored))
    walk.step("a session is taken back")
    report = uuid.uuid4()
    doors.ask(
        doors.client, "put", f"pain-reports/{report}",
        pain_body(pain=7, moment="next_morning", reported_at="2026-02-20T08:00:00+01:00"),
    )  # fmt: skip
    walk.step("a pain report of its own")
    doors.ask(doors.client, "delete", f"pain-reports/{report}", version=1)
    walk.step("and it is taken back")
    note = {"joint": "knee", "side": "left", "noted_on": "2026-02-20", "changed": "Depth"}
    doors.ask(doors.coach, "post", f"clients/{cast.client.uid}/intervention-notes", note)
    walk.step("a note among coaches")
    doors.find()
    doors.find(kind="stalled_lift", target="back_squat:both:fresh")
    walk.step("a night opens alerts")
    doors.score()
    walk.step("a night looks at a lift")
    doors.score(revision=1, state="stalled", reason="", assessable_on=None)
    walk.step("it is scored again")
    stress = f"clients/{cast.client.uid}/exercises/back_squat/stress/knee"
    for value in (0.25, 0.0):
        doors.ask(doors.coach, "put", stress, {"stress": value, "reason": "Invented"},
                  version=None if value else 1)  # fmt: skip
        walk.step(f"what the exercise asks of a knee is judged to be {value}")
    doors.ask(doors.coach, "delete", stress, version=2)
    walk.step("the judgement is taken back")
    damaged = JointDay.objects.filter(client=cast.client, joint="knee", joint_reps__gt=0).first()
    JointDay.objects.filter(id=damaged.id).update(joint_reps=1000)
    walk.step("a roll-up is damaged")
    mend(cast.client, [Difference("joint day", cast.client, damaged.day_on, "", "differs")])
    walk.step("and mended")
    Exercise.objects.filter(code="back_squat").update(name="Squat with a barbell")
    walk.step("an exercise is called otherwise")
    time_machine.move_to(NOW + timedelta(days=7), tick=False)
    walk.step("a week passes")
    constant = {
        "rir_bias.min_sets", "rir_bias.computed.method", "rir_bias.computed.version",
        "adherence.computed.method", "adherence.computed.version", "adherence.weeks.late",
        "adherence.weeks.excused",
    }  # fmt: skip
    left = declared(history.HistoryView) - walk.changed
    assert left <= constant


def test_a_page_of_sessions_has_another_tag_after_every_change_of_what_it_shows(cast, doors):
    walk = Walk(doors.coach, f"{doors.address}/sessions?page_size=2")
    lift = knee_lift()
    plan = plan_by(cast.coach, lift, weeks=4)
    assignment = assign_plan(
        actor=actor_of(cast.coach), client_uid=cast.client.uid, plan_uid=plan.uid, starts_on=TODAY,
        override_reason="", now=NOW,
    ).assignment  # fmt: skip
    doors.post(load=60, day="2026-02-25")
    walk.step("a session comes in")
    uid = doors.post(load=200, session_rpe=7, note="Windy")
    walk.step("another one, with a load to confirm")
    stored = Session.objects.get(uid=uid)
    (row,) = stored.sets.all()
    doors.ask(doors.coach, "post", f"sets/{row.uid}/confirmation")
    walk.step("the load is confirmed")
    asked = [each.uid for day in plan.versions.get().days.all() for block in day.blocks.all()
             for each in block.prescriptions.all()]  # fmt: skip
    scheduled = ScheduledSession.objects.filter(client=cast.client).order_by("due_on").first()
    full = set_body(
        exercise=lift.code, side="left", kind="warm_up", load=50, load_unit="lb", reps=8, rir=1,
        guessed_rir=2, guessed_after_reps=3, ended_by="failure", tempo="3-1-1-0", rest_s=90,
        prescription=str(asked[0]),
    )  # fmt: skip
    held = set_body(exercise="elbow_flexion_hold", duration_s=30, follows_previous=True)
    del held["reps"]
    changes = {
        "sets": [full, held], "ended_at": None, "performed_at": "2026-03-02T08:00:00+01:00",
        "scheduled_session": str(scheduled.uid),
    }  # fmt: skip
    doors.ask(doors.client, "patch", f"sessions/{uid}", changes, version(stored))
    walk.step("it is edited")
    report = uuid.uuid4()
    alone = pain_body(
        joint="other", side="midline", other_site="jaw", pain=4, moment="after", note="n", explanation="e",
        symptoms={"night_pain": "no"}, session=str(uid), reported_at="2026-03-02T09:00:00+01:00",
    )  # fmt: skip
    doors.ask(doors.client, "put", f"pain-reports/{report}", alone)
    walk.step("a report is given to it")
    doors.ask(doors.client, "put", f"pain-reports/{report}", alone | {"pain": 3}, version=1)
    walk.step("the report is edited")
    doors.ask(doors.client, "delete", f"pain-reports/{report}", version=2)
    walk.step("the report is taken back")
    doors.post(day="2026-02-26")
    walk.step("there is a second page")
    doors.ask(doors.coach, "delete", f"clients/{cast.client.uid}/assignments/{assignment.uid}",
              version=version(assignment))  # fmt: skip
    walk.step("the plan ends", shows=False)
    doors.ask(doors.client, "delete", f"sessions/{uid}", version=version(stored))
    walk.step("the session is taken back")
    changed = {leaf.removeprefix("items.") for leaf in walk.changed}
    left = declared(sessions.ClientSessionsView) - changed
    assert left == {"pain_reports.symptoms"}  # an object of codes:
    assert "pain_reports.symptoms.night_pain" in changed


@pytest.fixture
def held(cast, doors):
    """Addresses of the three, each with something on it, and the tag that the coach holds."""
    doors.post()
    doors.find()
    addresses = [SHEET, f"{doors.address}/history", f"{doors.address}/sessions"]
    return {address: doors.coach.get(address)["ETag"] for address in addresses}


def test_a_304_is_answered_without_making_the_answer(doors, held, monkeypatch):
    def made(*_, **__):
        raise AssertionError("made")

    for module, name in (
        (sheet, "sheet_body"), (sheet, "read_sheet"), (history, "history_body"), (sessions, "session_body"),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, made)
    asked = {}
    for address, tag in held.items():
        with CaptureQueriesContext(connection) as captured:
            answer = doors.coach.get(address, HTTP_IF_NONE_MATCH=f'"other", {tag}')
        assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", tag)
        asked[address] = [row["sql"] for row in captured if row["sql"].lstrip(" (").startswith("SELECT")]
    made_of = ("coaching_alert", "coaching_loggedset", "coaching_painreport", "coaching_restriction")
    assert not [
        sql for each in asked.values() for sql in each for table in made_of if f'FROM "{table}"' in sql
    ]
    assert [len(each) for each in asked.values()] == [8, 9, 6]


def test_the_number_of_queries_of_a_304_does_not_grow(cast, doors, held):
    for number in range(8):
        other = ClientFactory(coach=cast.coach)
        ConsentFactory(client=other)
        doors.find(client=other)
        doors.post(day=f"2026-02-1{number}")
    counts = []
    for address in held:
        tag = doors.coach.get(address)["ETag"]
        with CaptureQueriesContext(connection) as captured:
            assert doors.coach.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 304
        counts.append(len([row for row in captured if row["sql"].lstrip(" (").startswith("SELECT")]))
    assert counts == [8, 9, 6]


def read_of(record_kind):
    rows = AuditEvent.objects.filter(action="read", record_kind=record_kind)
    return sorted((row.subject_key, row.read_hour) for row in rows)


def test_a_304_is_on_the_trail_of_those_whom_the_answer_shows_and_of_nobody_else(
    cast, doors, held, time_machine
):
    quiet = ClientFactory(coach=cast.coach)
    ConsentFactory(client=quiet)
    held[SHEET] = doors.coach.get(SHEET)["ETag"]
    time_machine.move_to(NOW + timedelta(hours=2), tick=False)
    for address, tag in held.items():
        assert doors.coach.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 304
    for kind in ("sheet", "history", "session"):
        assert read_of(kind) == [
            (cast.client.audit_key, NOW), (cast.client.audit_key, NOW + timedelta(hours=2))
        ]  # fmt: skip


def test_another_viewer_holds_nothing_by_the_tag_of_this_one(cast, doors, held, signed_in):
    for address, tag in held.items():
        if address != SHEET:
            for other in (doors.owner, doors.client):
                assert other.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 200
    assert signed_in(cast.colleague).get(SHEET, HTTP_IF_NONE_MATCH=held[SHEET]).status_code == 200
    assert signed_in(cast.stranger).get(SHEET, HTTP_IF_NONE_MATCH=held[SHEET]).status_code == 200


@pytest.mark.parametrize(
    ("place", "more"),
    [
        (0, "?on=2026-03-01"), (0, "?fields=entries.client"), (1, "?weeks=4"), (1, "?fields=weeks"),
        (2, "?page_size=1"), (2, "?ordering=performed_at"), (2, "?exercise=leg_press"),
        (2, "?from=2026-03-02"), (2, "?fields=note"),
    ],
)  # fmt: skip
def test_what_is_asked_for_is_part_of_the_tag(doors, held, place, more):
    address, tag = list(held.items())[place]
    assert doors.coach.get(address + more, HTTP_IF_NONE_MATCH=tag).status_code == 200


def test_another_host_shows_other_links(doors, held, settings):
    settings.ALLOWED_HOSTS = ["*"]
    address, tag = list(held.items())[2]
    answer = doors.coach.get(address, HTTP_IF_NONE_MATCH=tag, HTTP_HOST="elsewhere.example")
    assert answer.status_code == 200


def test_other_code_has_other_tags(doors, held, monkeypatch):
    monkeypatch.setattr("api.marks.code_version", lambda: "another")
    for address, tag in held.items():
        assert doors.coach.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 200


def test_no_tag_can_be_made_up_or_bent(doors, held):
    tag = held[SHEET]
    for bent in (tag.replace(".", ".B"), tag.partition(".")[0] + '"', f'W/"{"0" * 32}.AA"', "*"):
        answer = doors.coach.get(SHEET, HTTP_IF_NONE_MATCH=bent)
        assert answer.status_code == (304 if bent == "*" else 200)


def test_if_match_is_looked_at_before_what_is_held(doors, held):
    for address, tag in held.items():
        answer = doors.coach.get(address, headers={"If-Match": '"1"', "If-None-Match": tag})
        assert answer.status_code == 412, address


def test_who_was_erased_is_not_told_to_stand(cast, doors, held):
    doors.ask(doors.owner, "post", f"clients/{cast.client.uid}/erasure", {"confirm": cast.client.name})
    assert doors.coach.get(SHEET, HTTP_IF_NONE_MATCH=held[SHEET]).json()["entries"] == []
    for address in list(held)[1:]:
        assert doors.coach.get(address, HTTP_IF_NONE_MATCH=held[address]).status_code == 410


def test_who_withdrew_the_consent_is_not_told_to_stand(cast, doors, held):
    doors.ask(doors.client, "delete", f"clients/{cast.client.uid}/consents/health_data")
    for address in list(held)[1:]:
        assert doors.coach.get(address, HTTP_IF_NONE_MATCH=held[address]).status_code == 403


@contextmanager
def writer(work):
    """A transaction of another connection that has done `work`; `end` commits it."""
    is_done, may_end = Event(), Event()

    def run():
        try:
            with transaction.atomic():
                work()
                is_done.set()
                assert may_end.wait(20)
        finally:
            connection.close()

    def end():
        may_end.set()
        thread.join(20)
        assert not thread.is_alive()

    thread = Thread(target=run)
    thread.start()
    try:
        assert is_done.wait(20)
        yield end
    finally:
        end()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_what_commits_behind_a_later_change_is_seen(cast, doors):
    """Ids are given before they are committed: the newest that is seen does not tell of one below it."""

    def rename_quietly():
        made = Changed(cast.client.id, "session", uuid.uuid4())
        note_changes(practice_id=cast.practice.id, changed=[made], now=NOW)
        Session.objects.filter(client=cast.client).update(note="Written behind")

    doors.post()
    address = f"{doors.address}/sessions"
    with writer(rename_quietly) as end:
        later = Changed(cast.client.id, "alert", uuid.uuid4())
        note_changes(practice_id=cast.practice.id, changed=[later], now=NOW)
        tag = doors.coach.get(address)["ETag"]
        end()
    answer = doors.coach.get(address, HTTP_IF_NONE_MATCH=tag)
    assert answer.status_code == 200
    assert answer.json()["items"][0]["note"] == "Written behind"
