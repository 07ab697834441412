"""The morning sheet over HTTP: who is on it, in which order, and who may read it."""

from datetime import date, datetime, timedelta

import pytest
import time_machine as clock

from coaching.compute.evidence import CAUTION, refer_out
from coaching.compute.pain_trend import DEFAULT_SETTINGS
from coaching.compute.red_flags import SIGN_OFF
from coaching.models import (
    AuditEvent,
    JointDay,
    LoggedSet,
    Membership,
    Night,
    NightClient,
    Restriction,
    Session,
)
from tests.factories import NOW, AlertFactory, ClientFactory, ExerciseFactory, InjuryFactory

TODAY = date(2026, 3, 2)


def day(offset: int) -> date:
    return TODAY + timedelta(days=offset)


@pytest.fixture(autouse=True)
def at_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def sheet(cast, signed_in):
    """The sheet of somebody of the cast, the coach unless told otherwise."""

    def read(who=None, **query):
        answer = signed_in(who or cast.coach).get("/api/v1/morning-sheet", query)
        assert answer.status_code == 200, answer.content
        return answer.json()

    return read


def names(body):
    return [entry["client_name"] for entry in body["entries"]]


def test_empty_sheet_says_whose_it_is_and_that_no_clinician_has_reviewed_the_urgency(sheet):
    assert sheet() == {
        "practice_name": "Harbour Strength",
        "coach_name": "Carl Coach",
        "sheet_on": "2026-03-02",
        "last_night_on": None,
        "nights_caught_up": 0,
        "nights_skipped": 0,
        "unscored": [],
        "withdrawn": [],
        "alerts_new": 0,
        "alerts_worse": 0,
        "lines_beyond": 0,
        "screening": {
            "tests_run": 0,
            "found": 0,
            "folded": 0,
            "false_discovery_rate": 0.1,
            "sentence": "No site or lift of these clients could be tested for a trend in the newest night.",
            "computed": {"method": "benjamini_hochberg", "version": "1", "from_on": None, "until_on": None},
        },
        "entries": [],
        "to_confirm": [],
        "expiring": [],
        "newcomers": [],
        "waiting_lifts": [],
        "urgency_review_note": SIGN_OFF,
    }


def test_alert_about_pain_is_told_whole_with_caution_and_refer_out(cast, sheet):
    days = {"from_on": "2025-12-08", "to_on": "2026-03-01"}
    alert = AlertFactory(
        client=cast.client, evidence=days | {"worth_asking": ["Worth asking: why?"]}, method="test 1"
    )
    assert sheet()["entries"] == [
        {
            "client": str(cast.client.uid),
            "client_name": "Mira Lift",
            "coach_name": "Carl Coach",
            "lines": [
                {
                    "alert": str(alert.uid),
                    "kind": "pain_with_volume",
                    "target": "knee:left",
                    "severity": 60,
                    "status": "open",
                    "opened_on": "2026-03-02",
                    "is_new": True,
                    "worse_since_on": None,
                    "p_value": None,
                    "is_folded": False,
                    "folded_because": "",
                    "sentence": alert.sentence,
                    "worth_asking": ["Worth asking: why?"],
                    "caution": CAUTION,
                    "refer_out": refer_out(cast.client.emergency_text),
                    "picture": f"/api/v1/clients/{cast.client.uid}/sites/knee/left/picture.svg",
                    "computed": {
                        "method": "test",
                        "version": "1",
                        "from_on": "2025-12-08",
                        "until_on": "2026-03-01",
                    },
                }
            ],
        }
    ]


def test_alert_about_training_alone_carries_no_caution(cast, sheet):
    AlertFactory(client=cast.client, kind="silent", target="")
    (line,) = sheet()["entries"][0]["lines"]
    assert (line["caution"], line["refer_out"]) == ("", "")


def test_worst_client_comes_first_and_each_clients_worst_line(cast, sheet):
    other = ClientFactory(coach=cast.coach, name="Ada Row")
    AlertFactory(client=other, kind="stalled_lift", severity=25)
    AlertFactory(client=cast.client, kind="silent", target="", severity=40)
    AlertFactory(client=other, kind="red_flag", severity=100)
    body = sheet()
    assert names(body) == ["Ada Row", "Mira Lift"]
    assert [line["severity"] for line in body["entries"][0]["lines"]] == [100, 25]


def test_of_two_equally_severe_the_new_one_comes_first_then_the_one_that_stands_longest(cast, sheet):
    for name, opened in [("Ada Row", -9), ("Bo Pull", 0), ("Cy Dip", -20)]:
        AlertFactory(client=ClientFactory(coach=cast.coach, name=name), opened_on=day(opened))
    assert names(sheet()) == ["Bo Pull", "Cy Dip", "Ada Row"]


def test_only_alerts_of_this_morning_are_new(cast, sheet):
    AlertFactory(client=cast.client, opened_on=day(-1), severity=70)
    AlertFactory(client=cast.client, target="knee:right", status="acknowledged")
    assert [line["is_new"] for line in sheet()["entries"][0]["lines"]] == [False, False]


def test_what_became_worse_says_since_when_and_is_no_longer_called_new(cast, sheet):
    AlertFactory(client=cast.client, evidence={"worse_since_on": str(TODAY)})
    body = sheet()
    (line,) = body["entries"][0]["lines"]
    assert (line["worse_since_on"], line["is_new"]) == ("2026-03-02", False)
    assert (body["alerts_new"], body["alerts_worse"]) == (0, 1)
    assert sheet(on="2026-03-03")["alerts_worse"] == 0


def test_put_off_alert_is_hidden_until_its_date(cast, sheet):
    AlertFactory(client=cast.client, status="put_off", put_off_until_on=day(3))
    assert names(sheet(on="2026-03-04")) == []
    assert names(sheet(on="2026-03-05")) == ["Mira Lift"]


def test_closed_alert_is_not_on_the_sheet(cast, sheet):
    AlertFactory(client=cast.client, status="closed", closing="evidence_gone", closed_on=TODAY)
    assert sheet()["entries"] == []


def test_client_who_has_left_is_not_on_the_sheet(cast, sheet):
    AlertFactory(client=ClientFactory(coach=cast.coach, archived_at=NOW))
    assert sheet()["entries"] == []


def log_set(client, performed_on, **changes):
    session = Session.objects.create(
        practice=client.practice,
        client=client,
        performed_at=datetime.combine(performed_on, NOW.timetz()),
        zone="Europe/Berlin",
        performed_on=performed_on,
        content_hash="v1:any",
        received_at=NOW,
    )
    fields = {
        "practice": client.practice,
        "session": session,
        "exercise": ExerciseFactory(name="Invented press"),
        "position": 1,
        "kind": "work",
        "side": "both",
        "load_thousandths": 402_500,
        "reps": 5,
        "ended_by": "target",
        "is_to_confirm": True,
    }
    return LoggedSet.objects.create(**fields | changes)


def test_load_far_above_the_best_waits_on_the_sheet_as_it_was_entered(cast, sheet):
    row = log_set(cast.client, day(-1))
    assert sheet()["to_confirm"] == [
        {
            "set": str(row.uid),
            "client": str(cast.client.uid),
            "client_name": "Mira Lift",
            "exercise_name": "Invented press",
            "performed_on": "2026-03-01",
            "load_as_entered": "402.5 kg",
        }
    ]


def test_nothing_to_confirm_of_deleted_sessions_confirmed_sets_and_others_clients(cast, sheet):
    deleted = log_set(cast.client, day(-1))
    Session.objects.filter(id=deleted.session_id).update(deleted_at=NOW)
    log_set(cast.client, day(-2), is_to_confirm=False)
    log_set(cast.colleagues_client, day(-1))
    assert sheet()["to_confirm"] == []


def test_newcomer_is_told_with_the_first_day_that_can_be_assessed(cast, sheet):
    JointDay.objects.create(
        practice=cast.practice, client=cast.client, day_on=day(-3), joint="knee", side="left"
    )
    needed = timedelta(days=DEFAULT_SETTINGS.min_history_days)
    assert sheet()["newcomers"] == [
        {
            "client": str(cast.client.uid),
            "client_name": "Mira Lift",
            "first_on": "2026-02-27",
            "assessable_on": str(day(-3) + needed),
        }
    ]
    assert sheet(on=str(day(-3) + needed))["newcomers"] == []


def restrict(client, until_on):
    return Restriction.objects.create(
        practice=client.practice,
        injury=InjuryFactory(client=client),
        kind="limit",
        limit="No jumping",
        from_on=day(-30),
        until_on=until_on,
        said_by="clinician",
    )


def test_restriction_is_told_a_week_before_it_ends_soonest_first(cast, sheet):
    for offset in (7, 0, 8, -1):
        restrict(cast.client, day(offset))
    restrict(cast.client, None)
    body = sheet()["expiring"]
    assert [row["until_on"] for row in body] == ["2026-03-02", "2026-03-09"]
    assert body[0] == {
        "client": str(cast.client.uid),
        "client_name": "Mira Lift",
        "joint": "knee",
        "side": "left",
        "kind": "limit",
        "until_on": "2026-03-02",
    }


def done_night(cast, night_on=TODAY, planned_at=NOW):
    return Night.objects.create(
        practice=cast.practice,
        night_on=night_on,
        zone="Europe/Berlin",
        status="done",
        planned_at=planned_at,
        started_at=NOW,
        finished_at=NOW,
    )


def test_unscored_clients_stand_before_everything_else(cast, sheet):
    night = done_night(cast)
    AlertFactory(client=cast.client, kind="red_flag", severity=100)
    for client, state in [(cast.client, "failed"), (cast.colleagues_client, "failed")]:
        NightClient.objects.create(
            practice=cast.practice, night=night, client=client, state=state, error_code="timeout"
        )
    body = sheet()
    assert body["unscored"] == [
        {"client": str(cast.client.uid), "client_name": "Mira Lift", "reason": "timeout"}
    ]
    assert list(body).index("unscored") < list(body).index("entries")


def test_client_scored_at_a_second_look_is_not_unscored_any_more(cast, sheet):
    night = done_night(cast)
    for revision, state in enumerate(["failed", "scored"]):
        NightClient.objects.create(
            practice=cast.practice, night=night, client=cast.client, revision=revision, state=state
        )
    assert sheet()["unscored"] == []


def test_sheet_names_the_night_it_rests_on_and_how_many_were_caught_up(cast, sheet):
    done_night(cast, day(-2))
    done_night(cast, day(-1))
    done_night(cast, day(0))
    done_night(cast, day(1))
    for days in (-3, -40):
        skipped = done_night(cast, day(days))
        skipped.status = "skipped"
        skipped.save()
    body = sheet()
    assert (body["last_night_on"], body["nights_caught_up"], body["nights_skipped"]) == ("2026-03-02", 2, 2)


def test_coach_sees_own_clients_only(cast, sheet):
    for client in (cast.client, cast.colleagues_client, cast.strangers_client):
        AlertFactory(client=client)
    assert names(sheet()) == ["Mira Lift"]
    assert names(sheet(cast.colleague)) == ["Noel Hinge"]
    assert names(sheet(cast.stranger)) == ["Edda Press"]


@pytest.mark.parametrize(
    ("on", "seen"),
    [
        ("2026-03-02", ["Noel Hinge"]),
        ("2026-03-03", ["Mira Lift", "Noel Hinge"]),
        ("2026-03-05", ["Mira Lift", "Noel Hinge"]),
        ("2026-03-06", ["Noel Hinge"]),
    ],
)
def test_cover_sees_the_colleagues_clients_while_away_only(cast, sheet, on, seen):
    Membership.objects.filter(id=cast.coach.id).update(
        away_from_on=day(1), away_until_on=day(3), cover=cast.colleague
    )
    AlertFactory(client=cast.client, severity=80)
    AlertFactory(client=cast.colleagues_client, severity=50)
    body = sheet(cast.colleague, on=on)
    assert names(body) == seen
    assert {entry["coach_name"] for entry in body["entries"]} >= {"Cleo Colleague"}


def test_coach_who_is_away_still_sees_own_clients(cast, sheet):
    Membership.objects.filter(id=cast.coach.id).update(
        away_from_on=day(0), away_until_on=day(0), cover=cast.colleague
    )
    AlertFactory(client=cast.client)
    assert names(sheet()) == ["Mira Lift"]


def test_client_has_no_sheet(cast, signed_in):
    answer = signed_in(cast.client).get("/api/v1/morning-sheet")
    assert answer.status_code == 403
    assert answer["Content-Type"] == "application/problem+json"


def test_nobody_reads_a_sheet_without_signing_in(client):
    assert client.get("/api/v1/morning-sheet").status_code == 401


@pytest.mark.parametrize(
    "query",
    [
        {"on": "today"},
        {"on": "2026-02-30"},
        {"on": "20260302"},
        {"on": ""},
        {"on": "1989-12-31"},
        {"on": "2100-01-02"},
        {"on": "0001-01-01"},
        {"on": ["2026-03-02", "2026-03-03"]},
        {"coach": "other"},
    ],
)
def test_faulty_question_is_a_bad_request(cast, signed_in, query):
    answer = signed_in(cast.coach).get("/api/v1/morning-sheet", query)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("on", ["1990-01-01", "2100-01-01"])
def test_first_and_last_day_of_the_calendar_have_a_sheet(cast, sheet, on):
    assert sheet(on=on)["sheet_on"] == on


def test_today_is_the_day_where_the_practice_is(cast, sheet):
    with clock.travel("2026-03-02T23:30:00Z"):
        assert sheet()["sheet_on"] == "2026-03-03"


def test_reading_the_sheet_is_once_an_hour_on_the_audit_trail_of_everyone_shown(cast, signed_in):
    others = {name: ClientFactory(coach=cast.coach) for name in ("confirm", "expiring", "newcomer", "quiet")}
    AlertFactory(client=cast.client)
    log_set(others["confirm"], day(-1))
    restrict(others["expiring"], day(1))
    JointDay.objects.create(
        practice=cast.practice, client=others["newcomer"], day_on=day(-3), joint="knee", side="left"
    )
    api = signed_in(cast.coach)
    api.get("/api/v1/morning-sheet")
    api.get("/api/v1/morning-sheet")
    read = AuditEvent.objects.filter(action="read", record_kind="sheet").values_list("subject_key", flat=True)
    shown = [cast.client, others["confirm"], others["expiring"], others["newcomer"]]
    assert sorted(read) == sorted(client.audit_key for client in shown)


def test_number_of_queries_does_not_grow_with_the_sheet(cast, sheet, django_assert_max_num_queries):
    for number in range(12):
        client = ClientFactory(coach=cast.coach)
        AlertFactory(client=client)
        log_set(client, day(-number - 1))
        restrict(client, day(1))
    with django_assert_max_num_queries(25):
        assert len(sheet()["entries"]) == 12
