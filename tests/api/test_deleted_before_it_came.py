"""Posts that come late and in another order than they were made."""

import uuid

import pytest

from coaching.models import JointDay, PainReport, Session
from tests.bodies import pain_body, session_body, set_body

FIRST = {"If-Match": '"1"'}
NOUNS = [("sessions", session_body), ("pain-reports", pain_body)]


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


@pytest.mark.parametrize(("noun", "body"), NOUNS)
def test_a_deletion_that_overtakes_its_post_wins(app, noun, body):
    address = f"/api/v1/{noun}/{uuid.uuid4()}"
    assert app.delete(address).status_code == 428
    assert app.delete(address, headers=FIRST).status_code == 204
    assert app.put(address, body(), format="json").status_code == 410
    assert app.get(address).status_code == 410
    assert app.delete(address, headers=FIRST).status_code == 410
    assert not Session.objects.exists() and not PainReport.objects.exists()


@pytest.mark.parametrize(("noun", "body"), NOUNS)
def test_an_edit_of_what_was_deleted_before_it_came_is_gone(app, noun, body):
    address = f"/api/v1/{noun}/{uuid.uuid4()}"
    assert app.put(address, body(), format="json", headers=FIRST).status_code == 404
    app.delete(address, headers=FIRST)
    assert app.put(address, body(), format="json", headers=FIRST).status_code == 410


def test_an_item_of_a_batch_that_was_deleted_before_it_came_is_gone(app):
    uid, other = str(uuid.uuid4()), str(uuid.uuid4())
    app.delete(f"/api/v1/sessions/{uid}", headers=FIRST)
    items = [session_body() | {"id": uid}, session_body() | {"id": other}]
    answer = app.post("/api/v1/sessions/batch", {"items": items}, format="json")
    assert [item["status"] for item in answer.json()["items"]] == [410, 201]


TWIN = str(uuid.uuid4())
REFUSED = [
    ("sessions", session_body(pain_reports=[pain_body(id=TWIN), pain_body(id=TWIN)])),
    ("sessions", session_body(performed_at="2031-01-01T10:00:00Z")),
    ("sessions", session_body(sets=[set_body(exercise="no_such_lift")])),
    ("pain-reports", pain_body(reported_at="2031-01-01T10:00:00Z")),
    ("pain-reports", pain_body(session=str(uuid.uuid4()))),
]


@pytest.mark.parametrize(("noun", "body"), REFUSED)
def test_what_was_deleted_is_gone_whatever_else_is_wrong_with_its_post(app, noun, body):
    uid = str(uuid.uuid4())
    app.delete(f"/api/v1/{noun}/{uid}", headers=FIRST)
    assert app.put(f"/api/v1/{noun}/{uid}", body, format="json").status_code == 410
    if noun == "sessions":
        answer = app.post("/api/v1/sessions/batch", {"items": [body | {"id": uid}]}, format="json")
        assert [item["status"] for item in answer.json()["items"]] == [410]


@pytest.mark.parametrize("noun", ["sessions", "pain-reports"])
def test_a_coach_says_whose_it_was(cast, signed_in, noun):
    coach, address = signed_in(cast.coach), f"/api/v1/{noun}/{uuid.uuid4()}"
    assert coach.delete(address, headers=FIRST).status_code == 404
    assert coach.delete(f"{address}?client={cast.colleagues_client.uid}", headers=FIRST).status_code == 404
    assert coach.delete(f"{address}?client={cast.client.uid}", headers=FIRST).status_code == 204
    assert coach.delete(address, headers=FIRST).status_code == 410


def test_a_deletion_leaves_what_is_anothers_alone_and_does_not_tell_of_it(app, cast, signed_in):
    uid, other = uuid.uuid4(), signed_in(cast.colleagues_client)
    app.put(f"/api/v1/sessions/{uid}", session_body(), format="json")
    assert other.delete(f"/api/v1/sessions/{uid}", headers=FIRST).status_code == 204
    assert app.get(f"/api/v1/sessions/{uid}").status_code == 200


def test_a_patch_before_its_post_is_not_there_and_the_device_keeps_it(app):
    address = f"/api/v1/sessions/{uuid.uuid4()}"
    patch = {"data": {"note": "x"}, "format": "json", "headers": FIRST}
    assert app.patch(address, **patch).status_code == 404
    assert app.put(address, session_body(), format="json").status_code == 201
    assert app.patch(address, **patch).status_code == 200


def test_a_deleted_report_leaves_its_day_and_its_session(app):
    uid, address = uuid.uuid4(), f"/api/v1/pain-reports/{uuid.uuid4()}"
    app.put(f"/api/v1/sessions/{uid}", session_body(pain_reports=[]), format="json")
    app.put(address, pain_body(session=str(uid), pain=5), format="json")
    assert JointDay.objects.get(joint="knee", side="left").pain == 5
    assert app.delete(address, headers={"If-Match": '"7"'}).status_code == 412
    assert app.delete(address, headers=FIRST).status_code == 204
    assert JointDay.objects.get(joint="knee", side="left").pain is None
    assert app.get(f"/api/v1/sessions/{uid}").json()["pain_reports"] == []
    assert Session.objects.get().version == 3


def test_a_deleted_report_comes_as_a_tombstone(app):
    address = f"/api/v1/pain-reports/{uuid.uuid4()}"
    app.put(address, pain_body(moment="next_morning"), format="json")
    mark = app.get("/api/v1/changes").json()["mark"]
    app.delete(address, headers=FIRST)
    items = app.get("/api/v1/changes", {"since": mark}).json()["items"]
    assert [item["id"] for item in items if item["is_deleted"]] == [address.rpartition("/")[2]]
