import uuid
from datetime import date, timedelta

import pytest

from coaching.models import AuditEvent, InterventionNote, JointDay, LiftDay, ScheduledSession
from coaching.operations.assignments import assign_plan
from tests.bodies import session_body, set_body
from tests.factories import NOW, ExerciseFactory
from tests.plan_builders import actor_of, plan_by

TODAY = date(2026, 3, 2)  # a Monday


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def leg_press(db):
    return ExerciseFactory(code="invented_press", name="Invented press")


@pytest.fixture
def record(cast, leg_press):
    """A fortnight of the client's left knee, of one lift, and of a plan that nobody logged a session of."""
    for back in range(1, 14, 2):
        day_on = TODAY - timedelta(days=back)
        JointDay.objects.create(
            practice=cast.practice,
            client=cast.client,
            day_on=day_on,
            joint="knee",
            side="left",
            joint_reps=12.5,
            joint_load_kg=500,
            pain=None if back == 1 else 3,
        )
        LiftDay.objects.create(
            practice=cast.practice,
            client=cast.client,
            exercise=leg_press,
            day_on=day_on,
            side="left",
            e1rm_kg=100.0 - back / 7,
            best_load_kg=80,
            best_reps=6,
            best_rir=0,
        )
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, leg_press, deload_weeks=()).uid,
        starts_on=TODAY - timedelta(days=14),
        override_reason="",
        now=NOW,
    )
    return cast.client


def site_picture(client, form="svg", site="knee/left", query=""):
    return f"/api/v1/clients/{client.uid}/sites/{site}/picture.{form}{query}"


def lift_picture(client, form="svg", lift="invented_press/left", query=""):
    return f"/api/v1/clients/{client.uid}/lifts/{lift}/picture.{form}{query}"


def sides_picture(client, form="svg", lift="invented_press", query=""):
    return f"/api/v1/clients/{client.uid}/lifts/{lift}/sides/picture.{form}{query}"


def adherence_picture(client, form="svg", query=""):
    return f"/api/v1/clients/{client.uid}/adherence/picture.{form}{query}"


def history(client, query=""):
    return f"/api/v1/clients/{client.uid}/history{query}"


PICTURES = [site_picture, lift_picture, sides_picture, adherence_picture]
EVERYTHING = [*PICTURES, history]


@pytest.mark.parametrize("address", PICTURES)
def test_a_png_is_a_png(cast, record, signed_in, address):
    answer = signed_in(cast.coach).get(address(record, "png"))
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/png")
    assert answer.content.startswith(b"\x89PNG")


@pytest.mark.parametrize("address", PICTURES)
def test_an_svg_is_told_in_words_and_may_run_nothing(cast, record, signed_in, address):
    answer = signed_in(cast.coach).get(address(record))
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/svg+xml")
    assert b"<title" in answer.content and b"<desc" in answer.content
    assert answer["Content-Security-Policy"].startswith("default-src 'none'")


@pytest.mark.parametrize("accept", ["image/png", "image/avif,image/webp,*/*;q=0.8", "application/json"])
def test_the_address_decides_the_form_and_not_the_browser(cast, record, signed_in, accept):
    answer = signed_in(cast.coach).get(site_picture(record, "png"), HTTP_ACCEPT=accept)
    assert answer["Content-Type"] == "image/png"


@pytest.mark.parametrize("address", PICTURES)
def test_dark_and_light_differ(cast, record, signed_in, address):
    api = signed_in(cast.coach)
    light, dark = (api.get(address(record, query=f"?theme={theme}")) for theme in ("light", "dark"))
    assert light.content != dark.content and light["ETag"] != dark["ETag"]


@pytest.mark.parametrize("address", PICTURES)
@pytest.mark.parametrize(
    "query", ["?theme=blue", "?theme=dark&theme=light", "?colour=red", "?weeks=0", "?weeks=105", "?weeks=ten"]
)
def test_a_strange_query_is_a_problem(cast, record, signed_in, address, query):
    answer = signed_in(cast.coach).get(address(record, "png", query=query))
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


@pytest.mark.parametrize("address", EVERYTHING)
def test_what_the_caller_holds_already_is_not_sent_again(cast, record, signed_in, address):
    api = signed_in(cast.coach)
    tag = api.get(address(record))["ETag"]
    again = api.get(address(record), HTTP_IF_NONE_MATCH=tag)
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)


@pytest.mark.parametrize("address", PICTURES)
def test_what_the_caller_holds_already_is_not_even_drawn(cast, record, signed_in, monkeypatch, address):
    api = signed_in(cast.coach)
    tag = api.get(address(record))["ETag"]
    monkeypatch.setattr("matplotlib.figure.Figure", None)  # nothing can be drawn any more
    assert api.get(address(record), HTTP_IF_NONE_MATCH=tag).status_code == 304


@pytest.mark.parametrize("address", PICTURES)
def test_the_number_of_weeks_is_the_callers(cast, record, signed_in, address):
    api = signed_in(cast.coach)
    assert b"week beginning (2026)" in api.get(address(record, query="?weeks=2")).content
    assert b"week beginning (2024-2026)" in api.get(address(record, query="?weeks=104")).content


@pytest.mark.parametrize("address", EVERYTHING)
def test_new_records_change_the_tag(cast, record, signed_in, address):
    api = signed_in(cast.coach)
    tag = api.get(address(record))["ETag"]
    JointDay.objects.update(joint_reps=99)
    LiftDay.objects.update(e1rm_kg=99)
    ScheduledSession.objects.update(status="not_done")
    assert api.get(address(record), HTTP_IF_NONE_MATCH=tag).status_code == 200


@pytest.mark.parametrize("address", EVERYTHING)
def test_clients_see_their_own(record, signed_in, address):
    assert signed_in(record).get(address(record)).status_code == 200


@pytest.mark.parametrize("address", EVERYTHING)
def test_whoever_may_not_see_the_client_is_told_there_is_none(cast, record, signed_in, address):
    for who in (cast.stranger, cast.colleague, cast.colleagues_client):
        answer = signed_in(who).get(address(record))
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


@pytest.mark.parametrize("address", EVERYTHING)
def test_without_a_token_there_is_nothing(record, client, address):
    assert client.get(address(record)).status_code == 401


@pytest.mark.parametrize("address", EVERYTHING)
def test_reading_is_on_the_audit_trail_even_when_unchanged(cast, record, signed_in, address, time_machine):
    api = signed_in(cast.coach)
    tag = api.get(address(record))["ETag"]
    read_before = AuditEvent.objects.filter(action="read").latest("id").id
    time_machine.shift(timedelta(hours=1))
    api.get(address(record), HTTP_IF_NONE_MATCH=tag)
    event = AuditEvent.objects.get(id__gt=read_before)
    assert (event.action, event.record_kind, event.subject_key) == ("read", "history", record.audit_key)


@pytest.mark.parametrize(
    "site", ["knee/midline", "neck/left", "other/left", "tail/left", "knee/both", "KNEE/left", "knee/%00"]
)
def test_a_site_that_no_body_has_is_not_there(cast, record, signed_in, site):
    assert signed_in(cast.coach).get(site_picture(record, "png", site)).status_code == 404


@pytest.mark.parametrize("lift", ["unheard_of/left", "invented_press/middle"])
def test_a_lift_that_is_not_known_is_not_there(cast, record, signed_in, lift):
    assert signed_in(cast.coach).get(lift_picture(record, "png", lift)).status_code == 404


def test_the_sides_of_a_lift_that_is_not_known_are_not_there(cast, record, signed_in):
    assert signed_in(cast.coach).get(sides_picture(record, lift="unheard_of")).status_code == 404


def test_the_sides_are_told_side_by_side(cast, record, signed_in):
    answer = signed_in(cast.coach).get(sides_picture(record))
    assert b'<title id="told-title">Invented press, left and right</title>' in answer.content
    assert b"nothing is known of the e1RM of the right side" in answer.content


def test_a_site_without_records_is_a_picture_that_says_so(cast, signed_in):
    answer = signed_in(cast.coach).get(site_picture(cast.client, site="neck/midline"))
    assert answer.status_code == 200 and b"Nothing recorded" in answer.content


def test_the_picture_of_adherence_counts_the_sessions_of_the_calendar(cast, record, signed_in):
    answer = signed_in(cast.coach).get(adherence_picture(record))
    assert b"4 sessions counted: 4 without a log" in answer.content


def test_another_practices_own_exercise_is_not_there(cast, record, signed_in):
    ExerciseFactory(code="their_lift", practice=cast.stranger.practice)
    assert signed_in(cast.coach).get(lift_picture(record, lift="their_lift/left")).status_code == 404


def test_a_lift_in_a_pair_has_a_picture_of_its_own(cast, record, signed_in):
    LiftDay.objects.filter(day_on=TODAY - timedelta(days=1)).update(track="after:leg_extension")
    answer = signed_in(cast.coach).get(lift_picture(record, query="?track=after:leg_extension"))
    assert b"after leg extension" in answer.content and b"1 exposure." in answer.content
    answer = signed_in(cast.coach).get(sides_picture(record, query="?track=after:leg_extension"))
    assert b"left and right, after leg extension" in answer.content


def test_a_clients_picture_leaves_the_coachs_private_notes_out(cast, record, signed_in):
    InterventionNote.objects.create(
        practice=cast.practice,
        client=record,
        joint="knee",
        side="left",
        noted_on=TODAY,
        changed="Slower tempo.",
        created_at=NOW,
    )
    assert b"coach's note" in signed_in(cast.coach).get(site_picture(record)).content
    assert b"coach's note" not in signed_in(record).get(site_picture(record)).content


def test_the_history_is_weeks_by_sites_and_lifts_by_exposures(cast, record, signed_in):
    body = signed_in(cast.coach).get(history(record, "?weeks=3")).json()
    del body["rir_bias"]
    assert body.pop("adherence")["computed"] == {
        "method": "bounded_dose_ratio",
        "version": "2",
        "from_on": "2026-02-16",
        "until_on": "2026-03-02",
    }
    trend = body["lifts"][0].pop("trend")
    points = body["lifts"][0].pop("points")
    assert body == {
        "weeks": ["2026-02-16", "2026-02-23", "2026-03-02"],
        "sites": [
            {
                "computed": {
                    "method": "sums_and_pain_of_iso_weeks",
                    "version": "1",
                    "from_on": "2026-02-16",
                    "until_on": "2026-03-02",
                },
                "joint": "knee",
                "side": "left",
                "joint_reps": [37.5, 50.0, 0.0],
                "joint_load_kg": [1500.0, 2000.0, 0.0],
                "pain_highest": [3, 3, None],
                "pain_median": [3.0, 3.0, None],
                "reports": [0, 0, 0],
                "is_deload": [False, False, False],
                "alerts": [],
                "notes_on": [],
            }
        ],
        "lifts": [
            {
                "exercise": "invented_press",
                "exercise_name": "Invented press",
                "side": "left",
                "track": "fresh",
                "state": "not_assessable",
                "reason": "not_scored",
                "reason_text": "No night has looked at it yet.",
                "assessable_on": None,
                "alerts": [],
                "state_computed": None,
                "computed": {
                    "method": "epley_on_reps_and_reserve",
                    "version": "1",
                    "from_on": "2026-02-16",
                    "until_on": "2026-03-02",
                },
            }
        ],
    }
    assert trend.pop("computed") == {
        "method": "theil_sen",
        "version": "1",
        "from_on": "2026-02-17",
        "until_on": "2026-03-01",
    }
    assert trend["kg_per_week"] == pytest.approx(1.0) and trend["exposures"] == 7
    assert points[-1] == {
        "day_on": "2026-03-01",
        "e1rm_kg": pytest.approx(100 - 1 / 7),
        "best_load_kg": 80.0,
        "best_reps": 6,
        "best_rir": 0.0,
        "is_deload": False,
        "is_pain_limited": False,
    }


def test_sixteen_weeks_come_unasked(cast, record, signed_in):
    assert len(signed_in(cast.coach).get(history(record)).json()["weeks"]) == 16


def test_two_years_are_the_most(cast, record, signed_in):
    assert len(signed_in(cast.coach).get(history(record, "?weeks=104")).json()["weeks"]) == 104


@pytest.mark.parametrize("weeks", ["0", "105", "-1", "1.5", "", "ten", "٣", "9999"])
def test_other_numbers_of_weeks_are_a_problem(cast, record, signed_in, weeks):
    assert signed_in(cast.coach).get(history(record, f"?weeks={weeks}")).status_code == 400


def test_the_newest_week_is_the_one_of_the_clients_own_day(cast, record, signed_in, time_machine):
    time_machine.move_to("2026-03-01T23:30:00+00:00", tick=False)  # Monday in Berlin, Sunday in Lisbon
    assert signed_in(cast.coach).get(history(record, "?weeks=1")).json()["weeks"] == ["2026-03-02"]
    cast.client.zone = "Europe/Lisbon"
    cast.client.save()
    assert signed_in(cast.coach).get(history(record, "?weeks=1")).json()["weeks"] == ["2026-02-23"]


@pytest.mark.parametrize("who", ["coach", "client"])
def test_the_rir_bias_is_shown_to_coach_and_client(cast, record, signed_in, who):
    sets = [
        set_body(reps=8, rir=None, ended_by="failure", guessed_rir=1, guessed_after_reps=after)
        for after in (4, 5, 6, 5, 5)
    ]
    body = session_body(sets=sets, pain_reports=[])
    signed_in(cast.client).put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json")
    assert signed_in(getattr(cast, who)).get(history(record)).json()["rir_bias"] == {
        "mean_reps": 2.0,
        "low_reps": pytest.approx(2 - 1.96 * 0.5**0.5),
        "high_reps": pytest.approx(2 + 1.96 * 0.5**0.5),
        "n_sets": 5,
        "min_sets": 5,
        "computed": {
            "method": "limits_of_agreement",
            "version": "1",
            "from_on": "2025-03-03",
            "until_on": "2026-03-02",
        },
    }
