"""Every route that writes, from the URL resolver: which version it asks for, and what a replay costs.

A new route fails here until it has a row, and a route without a version needs a reason.
"""

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from api.endpoint import Endpoint
from tests.api.test_hostile_inputs import World, client_body, exercise_body, plan_body, site_body
from tests.bodies import pain_body, session_body
from tests.factories import NOW, AlertFactory

WRITING = ("post", "put", "patch", "delete")
Call = Callable[[World], tuple[str, Any]]


def written_routes():
    """(method, route) of every writing method of every view, as the resolver has them."""
    found = set()

    def walk(patterns, before):
        for each in patterns:
            route = before + str(each.pattern)
            if isinstance(each, URLResolver):
                walk(each.url_patterns, route)
            elif isinstance(each, URLPattern) and issubclass(getattr(each.callback, "cls", object), Endpoint):
                found.update((method, route) for method in WRITING if hasattr(each.callback.cls, method))

    walk(get_resolver().url_patterns, "")
    return found


@dataclass(frozen=True)
class Edit:
    """A write that needs the version of what it changes; `call` makes the record and says where."""

    call: Call
    who: str = "coach"


@dataclass(frozen=True)
class Put:
    """A write that may make something: free to repeat, and in conflict with other content."""

    call: Call
    other: dict[str, Any]
    who: str = "coach"


@dataclass(frozen=True)
class Post:
    """A post that makes something new, once under an id of the app's own."""

    call: Call
    other: dict[str, Any]
    who: str = "coach"


@dataclass(frozen=True)
class Unversioned:
    """A write that can lose no edit."""

    reason: str


def stress(w, base):
    address = f"{base}/exercises/back_squat/stress/knee"
    body = {"stress": 0.5, "reason": "Invented"}
    assert w.sign(w.cast.coach).put(address, body, format="json").status_code == 201
    return address, None


def report(w):
    address = f"/api/v1/pain-reports/{uuid.uuid4()}"
    assert w.sign(w.cast.client).put(address, pain_body(), format="json").status_code == 201
    return address, None


def flag(w):
    return AlertFactory(client=w.cast.client, kind="red_flag", withdrawal_asked_at=NOW)


def stored_body():
    return session_body(pain_reports=[])


V1 = "api/v1/"
CLIENT = V1 + "clients/<uuid:client_id>"
INJURY = CLIENT + "/injuries/<uuid:injury_id>"
ALERT = V1 + "alerts/<uuid:alert_id>"
WEBHOOK = V1 + "webhooks/<uuid:webhook_id>"
STRESS = "exercises/<slug:code>/stress/<str:joint>"
NOT_KEPT = Unversioned("nothing is kept but a reading on the trail")
EACH_ROW = Unversioned("each row is a put under its own id, and nothing that stands is overwritten")
ONCE = Unversioned("what it answers is a secret shown once, so that no two answers can be the same")
ROWS: dict[tuple[str, str], Edit | Put | Post | Unversioned] = {
    ("patch", CLIENT): Edit(lambda w: (w.client, {"name": "Nora New"})),
    ("post", CLIENT + "/merging"): Edit(
        lambda w: (f"{w.client}/merging", {"duplicate": str(w.duplicate.uid)}), "owner"
    ),
    ("post", V1 + "service-tokens"): ONCE,
    ("post", V1 + "practice/closing"): Unversioned("the current password stands for the version"),
    ("delete", V1 + "service-tokens/<uuid:token_id>"): Unversioned("it is never edited"),
    ("post", V1 + "clients"): Post(lambda w: ("/api/v1/clients", client_body(w)), {"name": "Other"}),
    ("post", CLIENT + "/body-masses"): Put(
        lambda w: (f"{w.client}/body-masses", {"measured_on": "2026-03-01", "body_mass_kg": 80.5}),
        {"body_mass_kg": 79},
        "client",
    ),
    ("put", CLIENT + "/consents/<str:purpose>"): Put(
        lambda w: (f"{w.client}/consents/referral", {"text_version": "1"}), {"text_version": "2"}, "client"
    ),
    ("delete", CLIENT + "/consents/<str:purpose>"): Unversioned("withdrawing errs to the safe side"),
    ("post", CLIENT + "/injuries"): Post(
        lambda w: (f"{w.client}/injuries", site_body(said="Sore.")), {"said": "Worse."}, "client"
    ),
    ("patch", INJURY): Edit(lambda w: (f"{w.client}/injuries/{w.injury.uid}", {"status": "settled"})),
    ("post", INJURY + "/restrictions"): Post(
        lambda w: (
            f"{w.client}/injuries/{w.injury.uid}/restrictions",
            {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"},
        ),
        {"limit": "No running"},
    ),
    ("delete", INJURY + "/restrictions/<uuid:restriction_id>"): Unversioned("it is never edited"),
    ("post", CLIENT + "/clearances"): Post(
        lambda w: (
            f"{w.client}/clearances",
            site_body(
                clinician_name="Dana Doctor",
                clinician_profession="surgeon",
                cleared_on="2026-03-01",
                flags=["night_pain"],
            ),
        ),
        {"flags": ["night_pain", "swollen_calf"]},
    ),
    ("post", CLIENT + "/intervention-notes"): Post(
        lambda w: (f"{w.client}/intervention-notes", site_body(noted_on="2026-03-01", changed="Depth")),
        {"changed": "Tempo"},
    ),
    ("post", CLIENT + "/referrals"): Post(
        lambda w: (
            f"{w.client}/referrals",
            site_body(question="What now?", consent_text_version="1"),
        ),
        {"question": "Another?"},
    ),
    ("post", V1 + "plans"): Post(lambda w: ("/api/v1/plans", plan_body(w)), {"name": "Other"}),
    ("put", V1 + "plans/<uuid:plan_id>"): Edit(lambda w: (f"/api/v1/plans/{w.plan.uid}", plan_body(w))),
    ("delete", V1 + "plans/<uuid:plan_id>"): Edit(lambda w: (f"/api/v1/plans/{w.plan.uid}", None)),
    ("post", V1 + "plans/<uuid:plan_id>/preview"): NOT_KEPT,
    ("post", V1 + "exercises"): Put(lambda w: ("/api/v1/exercises", exercise_body(w)), {"name": "Other"}),
    ("put", V1 + STRESS): Put(
        lambda w: ("/api/v1/exercises/back_squat/stress/knee", {"stress": 0.5, "reason": "Invented"}),
        {"stress": 1},
    ),
    ("delete", V1 + STRESS): Edit(lambda w: stress(w, "/api/v1")),
    ("put", CLIENT + "/" + STRESS): Put(
        lambda w: (f"{w.client}/exercises/back_squat/stress/knee", {"stress": 0.5, "reason": "Invented"}),
        {"reason": "Other"},
    ),
    ("delete", CLIENT + "/" + STRESS): Edit(lambda w: stress(w, w.client)),
    ("post", CLIENT + "/assignments"): Post(
        lambda w: (f"{w.client}/assignments", {"plan": str(w.plan.uid), "starts_on": "2026-03-02"}),
        {"starts_on": "2026-03-09"},
    ),
    ("delete", CLIENT + "/assignments/<uuid:assignment_id>"): Edit(
        lambda w: (f"{w.client}/assignments/{w.scheduled.assignment.uid}", None)
    ),
    ("patch", CLIENT + "/scheduled-sessions/<uuid:scheduled_session_id>"): Edit(
        lambda w: (f"{w.client}/scheduled-sessions/{w.scheduled.uid}", {"status": "not_done"}), "client"
    ),
    ("put", V1 + "sessions/<made:session_id>"): Put(
        lambda w: (f"/api/v1/sessions/{uuid.uuid4()}", stored_body()), {"note": "Other"}, "client"
    ),
    ("patch", V1 + "sessions/<made:session_id>"): Edit(
        lambda w: (f"/api/v1/sessions/{w.session}", {"note": "Windy"}), "client"
    ),
    ("delete", V1 + "sessions/<made:session_id>"): Edit(
        lambda w: (f"/api/v1/sessions/{w.session}", None), "client"
    ),
    ("post", V1 + "sessions/batch"): Unversioned("each item is a put of its own, without If-Match"),
    ("post", V1 + "sets/<uuid:set_id>/confirmation"): Unversioned("it says one thing, and again the same"),
    ("put", V1 + "pain-reports/<made:report_id>"): Put(
        lambda w: (f"/api/v1/pain-reports/{uuid.uuid4()}", pain_body()), {"pain": 3}, "client"
    ),
    ("delete", V1 + "pain-reports/<made:report_id>"): Edit(report, "client"),
    ("post", ALERT + "/acknowledgement"): Edit(
        lambda w: (f"/api/v1/alerts/{w.alert.uid}/acknowledgement", None)
    ),
    ("post", ALERT + "/put-off"): Edit(
        lambda w: (f"/api/v1/alerts/{w.alert.uid}/put-off", {"until_on": "2026-03-09"})
    ),
    ("post", ALERT + "/closing"): Edit(lambda w: (f"/api/v1/alerts/{w.alert.uid}/closing", {"note": "Seen"})),
    ("post", ALERT + "/withdrawal"): Unversioned("it says one thing, and again the same"),
    ("post", ALERT + "/withdrawal/confirmation"): Edit(
        lambda w: (f"/api/v1/alerts/{flag(w).uid}/withdrawal/confirmation", {"reason": "A slip"})
    ),
    ("patch", V1 + "memberships/<uuid:membership_id>"): Edit(
        lambda w: (f"/api/v1/memberships/{w.cast.coach.uid}", {"wants_digest": False})
    ),
    ("delete", V1 + "memberships/<uuid:membership_id>"): Edit(
        lambda w: (f"/api/v1/memberships/{w.cast.coach.uid}?hand_over_to=owner", None), "owner"
    ),
    ("patch", V1 + "practice"): Edit(lambda w: ("/api/v1/practice", {"keeps_audit_years": 7}), "owner"),
    ("post", CLIENT + "/erasure"): Unversioned("nothing is left of which there could be a version"),
    ("post", CLIENT + "/calendar-feed"): ONCE,
    ("delete", CLIENT + "/calendar-feed"): Unversioned("it is never edited"),
    ("post", V1 + "sign-in"): ONCE,
    ("post", V1 + "invitations"): ONCE,
    ("post", V1 + "invitations/accept"): ONCE,
    ("delete", V1 + "devices"): Unversioned("it is never edited"),
    ("post", V1 + "sign-out"): Unversioned("it is never edited"),
    ("delete", V1 + "devices/<uuid:device_id>"): Unversioned("it is never edited"),
    ("put", V1 + "me/password"): Unversioned("the current password stands for the version"),
    ("post", V1 + "password-resets"): Unversioned("one mail in ten minutes, however often it is asked for"),
    ("post", V1 + "password-resets/accept"): Unversioned("the link works once"),
    ("post", V1 + "me/second-factor"): ONCE,
    ("post", V1 + "me/second-factor/confirmation"): ONCE,
    ("post", V1 + "me/second-factor/removal"): Unversioned("the current password stands for the version"),
    ("post", CLIENT + "/imports/sessions"): EACH_ROW,
    ("post", CLIENT + "/imports/pain-reports"): EACH_ROW,
    ("post", V1 + "imports/sessions"): EACH_ROW,
    ("post", V1 + "imports/pain-reports"): EACH_ROW,
    ("post", V1 + "imports/plans"): EACH_ROW,
    ("post", V1 + "webhooks"): ONCE,
    ("patch", WEBHOOK): Edit(
        lambda w: (f"/api/v1/webhooks/{w.webhook.uid}", {"events": ["alert.closed"]}), "owner"
    ),
    ("delete", WEBHOOK): Edit(lambda w: (f"/api/v1/webhooks/{w.webhook.uid}", None), "owner"),
    ("post", WEBHOOK + "/secret"): Edit(
        lambda w: (f"/api/v1/webhooks/{w.webhook.uid}/secret", {"overlap_hours": 24}), "owner"
    ),
    ("post", WEBHOOK + "/test"): Unversioned("one at a time waits, and a second answers 409"),
}
EDITS = [key for key, row in ROWS.items() if isinstance(row, Edit)]
PUTS = [key for key, row in ROWS.items() if isinstance(row, Put)]
POSTS = [key for key, row in ROWS.items() if isinstance(row, Post)]


def test_every_writing_route_has_its_row():
    assert written_routes() == set(ROWS)


@pytest.fixture
def world(cast, signed_in, time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)
    return World(cast, signed_in)


def asked(world, key):
    """The call of a row, as often as it is made with a body and a version."""
    row = ROWS[key]
    api = world.sign(getattr(world.cast, row.who))
    address, body = row.call(world)

    def send(changes=None, version=None):
        headers = {} if version is None else {"If-Match": version}
        data = None if body is None and changes is None else json.dumps((body or {}) | (changes or {}))
        return getattr(api, key[0])(address, data, content_type="application/json", headers=headers)

    return send


@pytest.mark.parametrize("key", EDITS, ids=str)
def test_an_edit_names_the_current_version(world, key):
    send = asked(world, key)
    without = 409 if key[0] == "put" else 428
    assert send().status_code == without
    for vague in ("*", '"1", "2"', ""):
        assert send(version=vague).status_code in (428, without)
    for stale in ('"7"', 'W/"7"', '"made-up"', '"1-0"', "x" * 300):
        answer = send(version=stale)
        assert answer.status_code == 412, stale
        assert answer.json()["current_version"] == 1
    assert send(version='W/"1-0123456789abcdef"').status_code in (200, 201, 204)


@pytest.mark.parametrize("key", PUTS, ids=str)
def test_a_put_is_free_to_repeat_and_other_content_needs_the_version(world, key):
    send, other = asked(world, key), ROWS[key].other
    assert (send().status_code, send().status_code) == (201, 200)
    conflict = send(other)
    assert conflict.status_code == 409
    assert conflict.json()["differences"]
    if key == ("post", V1 + "exercises"):
        return  # a code is made once and not edited
    assert send(other, '"7"').status_code == 412
    assert send(other, "*").status_code == 428
    assert send(other, conflict["ETag"]).status_code in (200, 201)
    assert send(version='"1"').status_code == 412


@pytest.mark.parametrize("key", POSTS, ids=str)
def test_a_post_with_an_id_of_ones_own_is_stored_once(world, key):
    send, own = asked(world, key), {"id": str(uuid.uuid4())}
    first = send(own)
    assert first.status_code == 201, first.content
    again = send(own)
    assert (again.status_code, again.json()["id"]) == (200, own["id"])
    conflict = send(own | ROWS[key].other)
    assert (conflict.status_code, conflict.json()["type"]) == (409, "/problems/conflict")
    assert [row["pointer"] for row in conflict.json()["differences"]] != []


def test_a_restriction_taken_back_is_not_made_again(world):
    key = ("post", INJURY + "/restrictions")
    send, own = asked(world, key), {"id": str(uuid.uuid4())}
    assert send(own).status_code == 201
    address = f"{world.client}/injuries/{world.injury.uid}/restrictions/{own['id']}"
    assert world.sign(world.cast.coach).delete(address).status_code == 204
    assert send(own).status_code == 410


def test_a_plan_given_once_is_not_given_again_after_the_plan_was_rewritten(world):
    send, own = asked(world, ("post", CLIENT + "/assignments")), {"id": str(uuid.uuid4())}
    assert send(own).status_code == 201
    coach = world.sign(world.cast.coach)
    rewritten = coach.put(
        f"/api/v1/plans/{world.plan.uid}", plan_body(world), format="json", headers={"If-Match": '"1"'}
    )
    assert rewritten.status_code == 200
    assert send(own).status_code == 200


def test_an_id_of_a_client_one_may_not_see_tells_nothing(world):
    body = client_body(world) | {"id": str(world.cast.colleagues_client.uid)}
    answer = world.sign(world.cast.coach).post("/api/v1/clients", body, format="json")
    assert answer.status_code == 409
    assert "Noel" not in answer.content.decode()
    assert "differences" not in answer.json()
