"""What a conflict tells: where it differs from what was sent, by pointer into the body as it was sent."""

import uuid

import pytest

from coaching.models import AuditEvent, PainReport, Session
from tests.bodies import pain_body, session_body, set_body, version_of
from tests.factories import InjuryFactory


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


def put(app, uid, body, **headers):
    return app.put(f"/api/v1/sessions/{uid}", body, format="json", headers=headers)


def told(answer):
    return {row["pointer"]: (row["yours"], row["stored"]) for row in answer.json()["differences"]}


def test_other_content_is_told_by_pointer_and_the_same_in_other_words_is_not(app):
    uid, one = uuid.uuid4(), set_body(load=100)
    put(app, uid, session_body(sets=[one], pain_reports=[], note="Calm"))
    mine = session_body(
        sets=[one | {"load": 102.5, "rir": 2.0}],
        pain_reports=[],
        performed_at="2026-03-02T17:00:00Z",
        ended_at="2026-03-02T17:40:00Z",
    )
    answer = put(app, uid, mine)
    assert answer.status_code == 409
    assert answer["Content-Type"] == "application/problem+json"
    assert told(answer) == {"/sets/0/load": (102.5, 100.0), "/note": (None, "Calm")}
    stored = app.get(f"/api/v1/sessions/{uid}")
    body = answer.json()
    assert (body["current_version"], body["etag"], answer["ETag"]) == (1, stored["ETag"], stored["ETag"])
    assert body["more_differences"] == 0


def test_sets_and_reports_are_matched_by_their_ids(app):
    uid = uuid.uuid4()
    kept, dropped, fresh = set_body(), set_body(), set_body()
    report = pain_body(id=str(uuid.uuid4()), pain=2)
    put(app, uid, session_body(sets=[dropped, kept], pain_reports=[report]))
    mine = session_body(sets=[kept | {"reps": 6}, fresh], pain_reports=[report | {"pain": 3}])
    found = told(put(app, uid, mine, **{"If-Match": '"7"'}))
    assert found["/sets/0/reps"] == (6, 5)
    assert found["/sets/1"] == (fresh, None)
    assert found["/sets/-"][0] is None
    assert found["/sets/-"][1]["id"] == dropped["id"]
    assert found["/pain_reports/0/pain"] == (3, 2)
    assert len(found) == 4


def test_another_order_of_the_same_sets_is_told(app):
    uid, first, second = uuid.uuid4(), set_body(), set_body()
    put(app, uid, session_body(sets=[first, second], pain_reports=[]))
    answer = put(app, uid, session_body(sets=[second, first], pain_reports=[]))
    assert told(answer) == {"/sets": ([second["id"], first["id"]], [first["id"], second["id"]])}


def test_a_hundred_differences_are_told_and_the_rest_counted(app):
    uid, sets = uuid.uuid4(), [set_body(load=50) for _ in range(130)]
    put(app, uid, session_body(sets=sets, pain_reports=[]))
    answer = put(app, uid, session_body(sets=[row | {"load": 60} for row in sets], pain_reports=[]))
    assert (len(answer.json()["differences"]), answer.json()["more_differences"]) == (100, 30)


def test_a_stale_patch_tells_what_it_names_and_nothing_else(app):
    uid = uuid.uuid4()
    put(app, uid, session_body(note="First"))
    one = {"note": "Mine"}
    first = app.patch(
        f"/api/v1/sessions/{uid}",
        {"note": "Theirs", "session_rpe": 7},
        format="json",
        headers={"If-Match": '"1"'},
    )
    assert first.status_code == 200
    answer = app.patch(f"/api/v1/sessions/{uid}", one, format="json", headers={"If-Match": '"1"'})
    assert answer.status_code == 412
    assert told(answer) == {"/note": ("Mine", "Theirs")}
    assert answer["ETag"] == first["ETag"]


def test_a_stale_deletion_tells_the_version_and_compares_nothing(app):
    uid = uuid.uuid4()
    put(app, uid, session_body())
    answer = app.delete(f"/api/v1/sessions/{uid}", headers={"If-Match": '"9"'})
    assert answer.status_code == 412
    assert (answer.json()["current_version"], answer.json()["differences"]) == (1, [])


def test_an_item_of_a_batch_tells_the_same(app):
    uid, body = str(uuid.uuid4()), session_body(note="Stored")
    put(app, uid, body)
    items = [body | {"id": uid, "note": "Mine"}]
    (item,) = app.post("/api/v1/sessions/batch", {"items": items}, format="json").json()["items"]
    assert item["status"] == 409
    assert item["problem"]["differences"] == [{"pointer": "/note", "yours": "Mine", "stored": "Stored"}]
    assert item["problem"]["etag"] == app.get(f"/api/v1/sessions/{uid}")["ETag"]


def test_an_id_of_another_client_tells_nothing(app, cast, signed_in):
    uid = uuid.uuid4()
    put(app, uid, session_body(note="Private"))
    answer = put(signed_in(cast.colleagues_client), uid, session_body())
    assert answer.status_code == 409
    assert "Private" not in answer.content.decode()
    assert not {"differences", "current_version", "etag"} & set(answer.json())
    assert "ETag" not in answer


def test_what_a_conflict_shows_is_a_reading_on_the_trail(app):
    uid = uuid.uuid4()
    put(app, uid, session_body())
    assert not AuditEvent.objects.filter(action="read").exists()
    put(app, uid, session_body(note="Other"))
    assert AuditEvent.objects.filter(action="read", record_kind="session").count() == 1


def test_nothing_of_a_conflict_is_logged(app, caplog):
    uid = uuid.uuid4()
    put(app, uid, session_body(note="Burning knee"))
    put(app, uid, session_body(note="Dull knee"))
    assert "knee" not in caplog.text


def test_an_injury_a_client_and_a_member_tell_what_differs(cast, signed_in):
    coach = signed_in(cast.owner)
    injury = InjuryFactory(client=cast.client, said="Sore.")
    base = f"/api/v1/clients/{cast.client.uid}"
    edits = [
        (f"{base}/injuries/{injury.uid}", {"said": "Worse."}, ("/said", "Worse.", "Sore.")),
        (base, {"name": "Mira Press"}, ("/name", "Mira Press", "Mira Lift")),
        (f"/api/v1/memberships/{cast.coach.uid}", {"wants_digest": False}, ("/wants_digest", False, True)),
    ]
    for address, body, expected in edits:
        answer = coach.patch(address, body, format="json", headers={"If-Match": '"5"'})
        assert answer.status_code == 412, answer.content
        assert [tuple(row.values()) for row in answer.json()["differences"]] == [expected]


def test_a_body_mass_is_corrected_only_by_who_has_seen_it(app, cast):
    address = f"/api/v1/clients/{cast.client.uid}/body-masses"
    first = {"measured_on": "2026-03-01", "body_mass_kg": 80.5}
    made = app.post(address, first, format="json")
    assert (made.status_code, app.post(address, first, format="json").status_code) == (201, 200)
    other = first | {"body_mass_kg": 79}
    answer = app.post(address, other, format="json")
    assert (answer.status_code, told(answer)) == (409, {"/body_mass_kg": (79, 80.5)})
    seen = app.post(address, other, format="json", headers={"If-Match": answer["ETag"]})
    assert (seen.status_code, version_of(seen)) == (200, '"2"')
    assert app.post(address, first, format="json", headers={"If-Match": made["ETag"]}).status_code == 412


def test_a_consent_sent_late_does_not_undo_a_withdrawal(app, cast):
    address = f"/api/v1/clients/{cast.client.uid}/consents/referral"
    given = app.put(address, {"text_version": "1"}, format="json")
    assert given.status_code == 201
    assert app.delete(address).status_code == 204
    late = app.put(address, {"text_version": "1"}, format="json")
    assert (late.status_code, late.json()["current_version"]) == (409, 2)
    assert app.get(address).json()["withdrawn_at"] is not None
    meant = app.put(address, {"text_version": "1"}, format="json", headers={"If-Match": late["ETag"]})
    assert (meant.status_code, version_of(meant)) == (201, '"3"')


def test_a_pain_report_is_edited_with_its_version_and_its_session_moves_along(app):
    uid, report = uuid.uuid4(), uuid.uuid4()
    put(app, uid, session_body(pain_reports=[]))
    address, body = f"/api/v1/pain-reports/{report}", pain_body(session=str(uid), pain=2)
    assert app.put(address, body, format="json").status_code == 201
    assert told(app.put(address, body | {"pain": 4}, format="json")) == {"/pain": (4, 2)}
    edited = app.put(address, body | {"pain": 4}, format="json", headers={"If-Match": '"1"'})
    assert (edited.status_code, version_of(edited), edited["ETag"]) == (200, '"2"', app.get(address)["ETag"])
    assert Session.objects.get(uid=uid).version == 3


def test_an_edit_made_before_a_report_was_added_does_not_lose_the_report(app):
    uid, body = uuid.uuid4(), session_body(pain_reports=[])
    put(app, uid, body)
    added = pain_body(session=str(uid))
    app.put(f"/api/v1/pain-reports/{uuid.uuid4()}", added, format="json")
    answer = put(app, uid, body | {"note": "Windy"}, **{"If-Match": '"1"'})
    assert answer.status_code == 412
    assert {"/note", "/pain_reports/-"} == set(told(answer))
    assert PainReport.objects.count() == 1


def test_a_report_whose_session_was_edited_may_be_sent_again(app):
    uid, report = uuid.uuid4(), f"/api/v1/pain-reports/{uuid.uuid4()}"
    put(app, uid, session_body(pain_reports=[]))
    body = pain_body(session=str(uid))
    app.put(report, body, format="json")
    edited = app.patch(f"/api/v1/sessions/{uid}", {"note": "x"}, format="json", headers={"If-Match": '"2"'})
    assert edited.status_code == 200
    assert app.put(report, body, format="json").status_code == 200
