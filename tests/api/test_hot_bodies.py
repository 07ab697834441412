"""What is written out by hand is what the declared serializers say, key by key and in their order."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from rest_framework.renderers import JSONRenderer

from api.history import HistoryOut
from api.history_body import history_body
from api.session_body import session_body
from api.sessions import SessionOut
from api.sheet import SheetOut
from api.sheet_body import sheet_body
from coaching.models import JointDay, Night, NightClient, Score, Session
from coaching.reads.adherence_weeks import whole_history
from coaching.reads.session_pages import contents_of
from coaching.reads.sessions import with_content
from coaching.reads.sheet import morning_sheet
from tests.api.rows_of_routes import TODAY, add_rows, furnish
from tests.factories import NOW, AlertFactory, ClientFactory, ConsentFactory

LIFT = {
    "exercise": "back_squat", "side": "both", "track": "fresh", "state": "not_assessable",
    "reason": "few_exposures", "exposures_to_go": 2, "assessable_on": "2026-04-01",
    "method": "test of lifts 3",
}  # fmt: skip


@pytest.fixture
def furnished(cast, signed_in, time_machine):
    """A practice that has several of everything that the three answers show."""
    time_machine.move_to(NOW, tick=False)
    place = furnish(cast)
    add_rows(place, signed_in(cast.coach), 0, 14)
    _night(cast)
    _alerts(cast, place.lift)
    for number in range(40):
        JointDay.objects.update_or_create(
            practice=cast.practice, client=cast.client, day_on=TODAY - timedelta(days=number), joint="hip",
            side="right",
            defaults={"joint_reps": 7 * number + 0.5, "joint_load_kg": number / 3, "pain": number % 11},
        )  # fmt: skip
    stopped = ClientFactory(coach=cast.coach, name="Zoë “Zed” \u2028Stop")
    ConsentFactory(client=stopped, withdrawn_at=datetime(2026, 3, 1, 23, 30, tzinfo=UTC))
    return place


def _night(cast):
    for back, status in ((3, "skipped"), (2, "done"), (1, "done"), (0, "done")):
        Night.objects.create(
            practice=cast.practice, night_on=TODAY - timedelta(days=back), zone="Europe/Berlin",
            status=status, planned_at=NOW, started_at=NOW, finished_at=NOW,
        )  # fmt: skip
    unscored, waiting = ClientFactory(coach=cast.coach), ClientFactory(coach=cast.coach)
    night = Night.objects.get(night_on=TODAY)
    NightClient.objects.create(
        practice=cast.practice, night=night, client=unscored, state="failed", error_code="ValueError"
    )
    low = LIFT | {"reason": "low_attendance", "assessable_on": None, "side": "left"}
    known = LIFT | {"state": "stalled", "reason": "", "exposures_to_go": 0, "assessable_on": None}
    for client in (waiting, cast.client):
        Score.objects.filter(client=client, night_on=TODAY).delete()
        Score.objects.create(
            practice=cast.practice, client=client, night_on=TODAY, method="night 2", scored_at=NOW,
            details={"lifts": [LIFT, low, known, LIFT | {"side": "left"}], "tests_run": 9},
        )  # fmt: skip


def _alerts(cast, lift):
    days = {"from_on": "2025-12-08", "to_on": "2026-03-01", "worth_asking": ["Worth asking: why?"]}
    for number, (kind, p_value) in enumerate(
        [("pain_with_volume", 0.0001), ("stalled_lift", 0.9), ("pain_limit", None), ("off_plan", None)]
    ):
        target = "" if kind == "off_plan" else f"{lift.code}:left:fresh" if "lift" in kind else "knee:left"
        AlertFactory(
            client=cast.client, kind=kind, target=target, severity=40 + number,
            evidence=days | {"p_value": p_value, "worse_since_on": "2026-03-02" if number % 2 else None},
        )  # fmt: skip


def as_bytes(body):
    return JSONRenderer().render(body)


def lists_in(body, before=""):
    """Every list of a body, by its place; of those within a list only whether any of them has something."""
    found = {}
    for name, value in body.items() if isinstance(body, dict) else []:
        if isinstance(value, dict):
            found |= lists_in(value, f"{before}{name}.")
        if isinstance(value, list):
            found[before + name] = bool(value)
            for each in value:
                for below, has in lists_in(each, f"{before}{name}.").items():
                    found[below] = found.get(below, False) or has
    return found


def test_the_sheet(cast, furnished):
    sheet = morning_sheet(membership=cast.coach, on=TODAY)
    assert as_bytes(sheet_body(sheet)) == as_bytes(SheetOut(sheet).data)
    assert {name for name, has in lists_in(sheet_body(sheet)).items() if not has} == set()


def test_a_sheet_of_nothing(cast):
    sheet = morning_sheet(membership=cast.coach, on=date(1990, 1, 1))
    assert as_bytes(sheet_body(sheet)) == as_bytes(SheetOut(sheet).data)


@pytest.mark.parametrize("weeks", [2, 16, 104])
def test_a_history(cast, furnished, weeks):
    history = whole_history(cast.client.id, TODAY, weeks, with_private=True)
    assert as_bytes(history_body(history)) == as_bytes(HistoryOut(history).data)
    assert {name for name, has in lists_in(history_body(history)).items() if not has} == set()


def test_a_page_of_sessions(cast, furnished):
    rows = list(Session.objects.select_related("client", "scheduled_session").order_by("id"))
    contents = contents_of(rows)
    ours = [session_body(row, contents[row.id]) for row in rows]
    declared = [SessionOut(row).data for row in with_content(Session.objects.order_by("id"))]
    assert as_bytes(ours) == as_bytes(declared)
    assert {name for name, has in lists_in({"items": ours}).items() if not has} == set()


def test_a_session_with_everything_that_may_be_left_out(cast, signed_in, time_machine):
    time_machine.move_to(NOW, tick=False)
    body = {
        "performed_at": "2026-03-02T09:00:00.123456+01:00", "session_rpe": 7.5, "note": "Ä\u2028b <&>",
        "sets": [
            {
                "id": "0190f0e0-0000-7000-8000-000000000001", "exercise": "back_squat", "load": 220.5,
                "load_unit": "lb", "reps": 5, "rir": 1.5, "guessed_rir": 2, "guessed_after_reps": 3,
                "tempo": "3-1-1-0", "rest_s": 90,
            },
            {
                "id": "0190f0e0-0000-7000-8000-000000000002", "exercise": "elbow_flexion_hold",
                "duration_s": 40, "follows_previous": True,
            },
        ],
        "pain_reports": [
            {
                "id": "0190f0e0-0000-7000-8000-000000000003", "joint": "other", "side": "midline",
                "other_site": "jaw", "moment": "during", "pain": 3, "symptoms": {"night_pain": "no"},
                "note": "n", "explanation": "e", "reported_at": "2026-03-02T09:30:00+01:00",
            }
        ],
    }  # fmt: skip
    api = signed_in(cast.client)
    put = api.put("/api/v1/sessions/0190f0e0-0000-7000-8000-000000000000", body, format="json")
    assert put.status_code == 201, put.content
    (shown,) = api.get(f"/api/v1/clients/{cast.client.uid}/sessions").json()["items"]
    assert shown == json.loads(put.content)["session"]
    assert shown["sets"][0]["load_kg"] == "100.017117585"
