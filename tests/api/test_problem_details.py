"""RFC 9457, sections 3 and 4, and RFC 9562, sections 4 and 5: problems and ids as the standards have them."""

import uuid

import pytest

from coaching.models import Session
from tests.bodies import pain_body, session_body

STRAY = "2c5ea4c0-4067-11e9-8bad-9b1deb4d3b7d"


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


def test_a_problem_has_the_members_of_section_3_1_and_says_its_status_twice(app):
    address = f"/api/v1/sessions/{uuid.uuid4()}"
    answer = app.get(address)
    assert answer["Content-Type"] == "application/problem+json"  # RFC 9457, section 3
    assert answer.json() == {
        "type": "/problems/not_found",
        "title": "Not found",
        "status": answer.status_code,
        "detail": "There is no such session.",
        "instance": address,
    }


def test_extension_members_stand_beside_them(app):
    address = f"/api/v1/sessions/{uuid.uuid4()}"
    app.put(address, session_body(note="a"), format="json")
    body = app.put(address, session_body(note="b"), format="json").json()
    assert {"type", "title", "status", "detail", "instance"} < set(body)  # RFC 9457, section 3.2
    assert set(body) - {"type", "title", "status", "detail", "instance"} == {
        "current_version",
        "etag",
        "differences",
        "more_differences",
    }


def test_one_type_has_one_title_whatever_it_is_about(app):
    """RFC 9457, section 3.1.4: the title does not change from occurrence to occurrence."""
    seen = [
        app.get(f"/api/v1/{noun}/{uuid.uuid4()}").json() for noun in ("sessions", "pain-reports", "alerts")
    ]
    assert len({(body["type"], body["title"]) for body in seen}) == 1
    assert len({body["instance"] for body in seen}) == 3


# RFC 9562, Appendix A.3 and A.6: the test vectors of versions 4 and 7; from memory.
VERSION_4 = "919108f7-52d1-4320-9bac-f847db4148a8"
VERSION_7 = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@pytest.mark.parametrize("uid", [VERSION_4, VERSION_7])
def test_an_id_of_version_4_or_7_is_taken_and_read_in_either_case(app, uid):
    body = session_body(pain_reports=[pain_body(id=uid.upper())])
    assert app.put(f"/api/v1/sessions/{uid}", body, format="json").status_code == 201
    assert app.put(f"/api/v1/sessions/{uid.upper()}", body, format="json").status_code == 200  # section 4
    shown = app.get(f"/api/v1/sessions/{uid.upper()}").json()
    assert (shown["id"], shown["pain_reports"][0]["id"]) == (uid, uid)
    assert Session.objects.count() == 1


@pytest.mark.parametrize(
    "uid",
    ["00000000-0000-0000-0000-000000000000", "ffffffff-ffff-ffff-ffff-ffffffffffff"],  # sections 5.9, 5.10
)
def test_nil_and_max_are_no_ids(app, uid):
    for method in (app.put, app.delete):
        answer = method(f"/api/v1/sessions/{uid}", session_body(), format="json", headers={"If-Match": '"1"'})
        assert (answer.status_code, answer.json()["type"]) == (400, "/problems/bad_id")
    inside = session_body(pain_reports=[pain_body(id=uid)])
    assert app.put(f"/api/v1/sessions/{uuid.uuid4()}", inside, format="json").status_code == 422


@pytest.mark.parametrize("form", ["{%s}", "urn:uuid:%s", "%s0"])
def test_other_forms_of_an_id_are_refused(app, form):
    uid = form % STRAY
    assert app.put(f"/api/v1/sessions/{uid}", session_body(), format="json").status_code == 404
    inside = session_body(pain_reports=[pain_body(id=uid)])
    answer = app.put(f"/api/v1/sessions/{STRAY}", inside, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/pain_reports/0/id")
