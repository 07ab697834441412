"""A coach's whole morning on posted data after a night: six calls, each found in the answers before it."""

import uuid
from datetime import date, timedelta

import pytest

from coaching.nightly import night_by_hand, run_night
from coaching.operations.assignments import assign_plan
from tests.bodies import session_body
from tests.factories import NOW, InjuryFactory
from tests.plan_builders import actor_of, knee_lift, plan_by

TODAY = NOW.date()  # a Monday
STARTS_ON = TODAY - timedelta(weeks=6)


@pytest.fixture
def morning(cast, signed_in, time_machine):
    """Six weeks of Mondays and Thursdays, but for one that nobody logged; the knee hurts more at the end."""
    time_machine.move_to(NOW, tick=False)
    lift = knee_lift()
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, lift, weeks=10, deload_weeks=()).uid,
        starts_on=STARTS_ON,
        override_reason="",
        now=NOW,
    )
    InjuryFactory(client=cast.client, joint="knee", side="left", pain_limit=4)
    app = signed_in(cast.client)
    for step in range(12):
        day = STARTS_ON + timedelta(days=7 * (step // 2) + 3 * (step % 2))
        if step != 7:
            post(app, day, lift.code, pain=4 if step == 11 else 2)
    night = night_by_hand(practice=cast.practice, night_on=TODAY, now=NOW)
    run_night(night=night, now=NOW)
    return signed_in(cast.coach)


def post(app, day: date, code: str, pain: int) -> None:
    body = session_body(performed_at=f"{day}T18:00:00+01:00", ended_at=None)
    for each in body["sets"]:
        each["exercise"], each["side"] = code, "left"
    for report in body["pain_reports"]:
        report |= {"joint": "knee", "side": "left", "pain": pain, "symptoms": {}}
    answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json")
    assert answer.status_code == 201, answer.json()


def test_the_morning_is_six_calls(morning):
    def get(address, **query):
        answer = morning.get(address, query)
        assert answer.status_code == 200, answer.content
        return answer

    sheet = get("/api/v1/morning-sheet").json()
    entry = sheet["entries"][0]
    line = next(line for line in entry["lines"] if line["kind"] == "pain_limit")
    client = f"/api/v1/clients/{entry['client']}"
    history = get(f"{client}/history", weeks=8).json()
    alert = get(f"/api/v1/alerts/{line['alert']}").json()
    until = TODAY + timedelta(days=14)
    calendar = get(f"{client}/scheduled-sessions", **{"from": str(TODAY), "until": str(until)}).json()
    following = next(row for row in calendar["items"] if row["status"] == "planned")
    advice = get(f"{client}/scheduled-sessions/{following['id']}/prescriptions/next").json()
    picture = get(line["picture"])

    assert line["target"] == alert["target"] == "knee:left"
    (knee,) = (site for site in history["sites"] if (site["joint"], site["side"]) == ("knee", "left"))
    for numbers in ("joint_reps", "joint_load_kg", "pain_highest", "pain_median", "reports"):
        assert len(knee[numbers]) == len(history["weeks"]) == 8
    assert knee["pain_highest"][-2] == 4
    assert set(history["lifts"][0]["trend"]) >= {"kg_per_week", "low_kg_per_week", "high_kg_per_week"}
    shares = [(week["low_share"], week["high_share"]) for week in history["adherence"]["weeks"]]
    assert len(shares) == 8 and shares[0] == (None, None)
    assert any(low < high for low, high in shares if low is not None)  # the one that nobody logged
    assert alert["evidence"]["pain"] == 4 and alert["computed"]["version"].isdigit()
    assert following["due_on"] == advice["due_on"] == str(TODAY)
    assert advice["blocks"][0]["prescriptions"][0]["advice"]["sentence"]
    assert picture["Content-Type"] == "image/svg+xml"
    assert b"<title" in picture.content and b"Alert on" in picture.content


def test_the_pictures_of_the_bodies_are_there(morning, cast):
    sheet = morning.get("/api/v1/morning-sheet").json()
    alerts = morning.get("/api/v1/alerts").json()["items"]
    lines = [line for entry in sheet["entries"] for line in entry["lines"]]
    found = {each["picture"] for each in (*lines, *alerts)} - {None}
    assert found
    for address in found:
        assert morning.get(address).status_code == 200
        assert morning.get(address.replace("picture.svg", "picture.png")).status_code == 200
