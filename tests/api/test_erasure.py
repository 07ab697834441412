"""Erasing and exporting a person over HTTP, and what a device that was away then hears."""

import io
import uuid
import zipfile

import pytest

from coaching.models import AuditEvent, Client, ErasedDigest, Erasure, Session
from coaching.operations.retention import drop_over_age
from tests.bodies import pain_body, session_body
from tests.factories import NOW


def address(client, *more):
    return "/".join(["/api/v1/clients", str(client.uid), *more])


def erase(api, client, confirm=None):
    return api.post(address(client, "erasure"), {"confirm": client.name if confirm is None else confirm})


@pytest.mark.parametrize("who", ["owner", "client"])
def test_the_owner_or_the_client_erases(cast, signed_in, who):
    answer = erase(signed_in(getattr(cast, who)), cast.client)
    assert answer.status_code == 200
    assert set(answer.json()) == {"erased_at", "rows", "account_erased"}
    assert answer.json()["account_erased"] is True
    assert not Client.objects.filter(id=cast.client.id).exists()


@pytest.mark.parametrize(
    ("who", "status"),
    [("coach", 403), ("colleague", 404), ("colleagues_client", 404), ("stranger", 404)],
)
def test_others_erase_nobody(cast, signed_in, who, status):
    assert erase(signed_in(getattr(cast, who)), cast.client).status_code == status
    assert Client.objects.filter(id=cast.client.id).exists()


@pytest.mark.parametrize(
    "confirm", ["", "mira lift", "Mira Lift ", " Mira Lift", "yes", "x" * 121, 5, None, True]
)
def test_without_the_name_as_it_stands_nobody_is_erased(cast, signed_in, confirm):
    api = signed_in(cast.owner)
    answer = api.post(address(cast.client, "erasure"), {"confirm": confirm})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/confirm"
    assert Client.objects.filter(id=cast.client.id).exists()


def test_whatever_a_device_still_holds_is_gone_for_everybody(cast, signed_in):
    device, coach = signed_in(cast.client), signed_in(cast.coach)
    session, report = uuid.uuid4(), uuid.uuid4()
    assert device.put(f"/api/v1/sessions/{session}", session_body(pain_reports=[])).status_code == 201
    assert device.put(f"/api/v1/pain-reports/{report}", pain_body()).status_code == 201
    assert erase(signed_in(cast.owner), cast.client).status_code == 200
    queued = [session, *(uuid.uuid4() for _ in range(50))]
    for uid in queued:
        answer = device.put(f"/api/v1/sessions/{uid}", session_body(pain_reports=[]))
        assert (answer.status_code, answer.json()["type"]) == (410, "/problems/gone")
    assert device.get("/api/v1/changes").status_code == 410
    of_client = {"client": str(cast.client.uid)}
    for api in (coach, signed_in(cast.owner)):
        assert (
            api.put(f"/api/v1/sessions/{session}", session_body(pain_reports=[]) | of_client).status_code
            == 410
        )
        assert api.get(f"/api/v1/sessions/{session}").status_code == 410
        assert api.get(f"/api/v1/pain-reports/{report}").status_code == 410
        assert api.get(address(cast.client)).status_code == 410
        assert api.get(address(cast.client, "export")).status_code == 410
        assert erase(api, cast.client).status_code == 410
    assert signed_in(cast.stranger).get(address(cast.client)).status_code == 404
    assert not Session.objects.filter(uid__in=queued).exists()


def test_an_erased_id_comes_back_under_no_other_client(cast, signed_in):
    session = uuid.uuid4()
    device = signed_in(cast.client)
    assert device.put(f"/api/v1/sessions/{session}", session_body(pain_reports=[])).status_code == 201
    erase(device, cast.client)
    other = signed_in(cast.colleagues_client)
    body = session_body(pain_reports=[])
    assert other.put(f"/api/v1/sessions/{session}", body).status_code == 410
    batch = other.post("/api/v1/sessions/batch", {"items": [body | {"id": str(session)}]})
    assert [item["status"] for item in batch.json()["items"]] == [410]
    assert signed_in(cast.strangers_client).put(f"/api/v1/sessions/{session}", body).status_code == 201


def test_after_the_period_a_token_is_unknown(cast, signed_in, time_machine):
    time_machine.move_to(NOW, tick=False)
    device = signed_in(cast.client)
    erase(device, cast.client)
    assert device.get("/api/v1/changes").status_code == 410
    later = NOW.replace(year=2027, day=4)
    drop_over_age(practice=cast.practice, now=later)
    assert not Erasure.objects.exists()
    assert not ErasedDigest.objects.exists()
    assert device.get("/api/v1/changes").status_code == 401


def test_a_calendar_of_somebody_erased_is_gone(cast, signed_in):
    api = signed_in(cast.client)
    url = api.post(address(cast.client, "calendar-feed")).json()["url"]
    path = "/api/v1/" + url.partition("/api/v1/")[2]
    assert api.get(path).status_code == 200
    erase(api, cast.client)
    api.credentials()
    assert api.get(path).status_code == 410
    assert api.get("/api/v1/calendar/fbrcal_unknown.ics").status_code == 404


def test_who_erased_is_on_the_trail_unless_it_was_the_person(cast, signed_in):
    erase(signed_in(cast.owner), cast.client)
    erase(signed_in(cast.colleagues_client), cast.colleagues_client)
    by = dict(AuditEvent.objects.filter(action="erase").values_list("subject_key", "account_id"))
    assert by == {cast.client.audit_key: cast.owner.account_id, cast.colleagues_client.audit_key: None}


@pytest.mark.parametrize("who", ["client", "coach", "owner"])
def test_the_client_and_their_coaches_take_the_archive_out(cast, signed_in, who):
    answer = signed_in(getattr(cast, who)).get(address(cast.client, "export"))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/zip")
    assert answer["Content-Disposition"] == 'attachment; filename="person.zip"'
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as archive:
        assert archive.testzip() is None
        assert "manifest.json" in archive.namelist()
    event = AuditEvent.objects.get(action="export")
    assert (event.subject_key, event.record_kind) == (cast.client.audit_key, "person_archive")


@pytest.mark.parametrize("who", ["colleague", "colleagues_client", "stranger"])
def test_others_find_no_archive(cast, signed_in, who):
    answer = signed_in(getattr(cast, who)).get(address(cast.client, "export"))
    assert answer.status_code == 404
    assert not AuditEvent.objects.filter(action="export").exists()


def test_every_export_is_on_the_trail(cast, signed_in):
    api = signed_in(cast.client)
    for _ in range(2):
        assert b"".join(api.get(address(cast.client, "export")).streaming_content)
    assert AuditEvent.objects.filter(action="export").count() == 2
