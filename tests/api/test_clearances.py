"""Clearances and intervention notes over HTTP."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from coaching.models import Alert, AuditEvent, Clearance, Consent, InterventionNote
from tests.factories import AlertFactory

CLEARANCE = {
    "joint": "knee",
    "side": "left",
    "clinician_name": "Dr Dana Doctor",
    "clinician_profession": "orthopaedic surgeon",
    "cleared_on": "2026-03-01",
    "flags": ["joint_locked"],
    "restrictions": "No jumping for six weeks.",
    "valid_until_on": "2089-12-31",
}
NOTE = {
    "joint": "knee",
    "side": "left",
    "noted_on": "2026-03-01",
    "changed": "Leg press instead of squat.",
    "reason": "Pain climbs with depth.",
    "is_shared": True,
}


def address(client, *more):
    return "/".join(["/api/v1/clients", str(client.uid), *more])


def post_clearance(api, client, **body):
    return api.post(address(client, "clearances"), CLEARANCE | body)


def post_note(api, client, **body):
    return api.post(address(client, "intervention-notes"), NOTE | body)


def red_flag(client, *flags, target="knee:left") -> Alert:
    return AlertFactory(
        client=client,
        kind="red_flag",
        target=target,
        evidence={"flags": list(flags)},
        opened_on=date(2026, 2, 1),
        seen_on=date(2026, 2, 1),
    )


def status_of(alert) -> str:
    return Alert.objects.get(id=alert.id).status


def test_a_coach_records_a_clinicians_clearance(cast, signed_in):
    answer = post_clearance(signed_in(cast.coach), cast.client)
    assert answer.status_code == 201
    assert answer.json() == CLEARANCE | {
        "id": str(Clearance.objects.get().uid),
        "recorded_by": "Carl Coach",
        "recorded_at": answer.json()["recorded_at"],
    }


def test_it_ends_the_red_flag_it_covers(cast, signed_in):
    alert = red_flag(cast.client, "joint_locked")
    post_clearance(signed_in(cast.coach), cast.client)
    alert.refresh_from_db()
    assert (alert.status, alert.closing) == ("closed", "cleared")


@pytest.mark.parametrize(
    ("flags", "target"),
    [(("joint_locked", "night_pain"), "knee:left"), (("joint_locked",), "knee:right")],
)
def test_a_red_flag_it_does_not_cover_stands(cast, signed_in, flags, target):
    alert = red_flag(cast.client, *flags, target=target)
    post_clearance(signed_in(cast.coach), cast.client)
    assert status_of(alert) == "open"


def test_a_clearance_that_has_run_out_ends_nothing(cast, signed_in):
    alert = red_flag(cast.client, "joint_locked")
    ended_on = timezone.now().date() - timedelta(days=2)
    answer = post_clearance(
        signed_in(cast.coach),
        cast.client,
        cleared_on=ended_on.isoformat(),
        valid_until_on=ended_on.isoformat(),
    )
    assert answer.status_code == 201
    assert status_of(alert) == "open"


def test_a_clearance_may_be_about_no_site(cast, signed_in):
    body = {key: value for key, value in CLEARANCE.items() if key not in ("joint", "side")}
    answer = signed_in(cast.coach).post(address(cast.client, "clearances"), body)
    assert (answer.status_code, answer.json()["joint"]) == (201, "")


def test_a_client_neither_records_nor_reads_clearances(cast, signed_in):
    alert = red_flag(cast.client, "joint_locked")
    api = signed_in(cast.client)
    assert post_clearance(api, cast.client).status_code == 403
    assert api.get(address(cast.client, "clearances")).status_code == 403
    assert status_of(alert) == "open"


@pytest.mark.parametrize("who", ["colleague", "stranger"])
def test_others_find_no_clearances(cast, signed_in, who):
    api = signed_in(getattr(cast, who))
    assert post_clearance(api, cast.client).status_code == 404
    assert api.get(address(cast.client, "clearances")).status_code == 404


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"flags": ["joint_locked", "hiccups"]}, "/flags/1"),
        ({"flags": "joint_locked"}, "/flags"),
        ({"flags": [5]}, "/flags/0"),
        ({"flags": ["x"] * 51}, "/flags"),
        ({"clinician_name": ""}, "/clinician_name"),
        ({"clinician_name": "x" * 121}, "/clinician_name"),
        ({"clinician_profession": " "}, "/clinician_profession"),
        ({"cleared_on": "2090-01-01", "valid_until_on": None}, "/cleared_on"),
        ({"valid_until_on": "2026-02-28"}, "/valid_until_on"),
        ({"side": "midline"}, "/side"),
        ({"joint": "elbows"}, "/joint"),
        ({"restrictions": "x" * 2001}, "/restrictions"),
        ({"recorded_by": "x"}, "/recorded_by"),
    ],
)
def test_a_bad_clearance_is_422_at_its_field(cast, signed_in, body, pointer):
    alert = red_flag(cast.client, "joint_locked")
    answer = post_clearance(signed_in(cast.coach), cast.client, **body)
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert not Clearance.objects.exists()
    assert status_of(alert) == "open"


def test_a_joint_without_its_side_is_422(cast, signed_in):
    body = {key: value for key, value in CLEARANCE.items() if key != "side"}
    answer = signed_in(cast.coach).post(address(cast.client, "clearances"), body)
    assert answer.json()["errors"][0]["pointer"] == "/side"


def test_without_consent_no_clearance_and_no_note_is_stored(cast, signed_in):
    Consent.objects.filter(client=cast.client).delete()
    api = signed_in(cast.coach)
    assert post_clearance(api, cast.client).json()["type"] == "/problems/consent_missing"
    assert post_note(api, cast.client).json()["type"] == "/problems/consent_missing"


def test_a_clearance_and_its_reading_are_on_the_trail(cast, signed_in):
    api = signed_in(cast.coach)
    post_clearance(api, cast.client)
    api.get(address(cast.client, "clearances"))
    events = AuditEvent.objects.filter(subject_key=cast.client.audit_key, record_kind="clearance")
    assert set(events.values_list("action", flat=True)) == {"create", "read"}


def test_a_coach_writes_an_intervention_note(cast, signed_in):
    answer = post_note(signed_in(cast.coach), cast.client)
    assert answer.status_code == 201
    assert answer.json() == NOTE | {
        "id": str(InterventionNote.objects.get().uid),
        "author": "Carl Coach",
        "created_at": answer.json()["created_at"],
    }


def test_a_client_sees_the_shared_notes_only(cast, signed_in):
    coach = signed_in(cast.coach)
    post_note(coach, cast.client)
    post_note(coach, cast.client, is_shared=False, changed="Between coaches.")
    theirs = signed_in(cast.client).get(address(cast.client, "intervention-notes"))
    assert [item["changed"] for item in theirs.json()["items"]] == ["Leg press instead of squat."]
    assert len(coach.get(address(cast.client, "intervention-notes")).json()["items"]) == 2


def test_a_note_is_private_unless_shared(cast, signed_in):
    body = {key: value for key, value in NOTE.items() if key != "is_shared"}
    answer = signed_in(cast.coach).post(address(cast.client, "intervention-notes"), body)
    assert answer.json()["is_shared"] is False


@pytest.mark.parametrize(
    ("who", "status"), [("client", 403), ("colleague", 404), ("stranger", 404), ("colleagues_client", 404)]
)
def test_who_writes_no_note(cast, signed_in, who, status):
    assert post_note(signed_in(getattr(cast, who)), cast.client).status_code == status
    assert not InterventionNote.objects.exists()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"side": "midline"}, "/side"),
        ({"noted_on": "2090-01-01"}, "/noted_on"),
        ({"changed": ""}, "/changed"),
        ({"changed": "x" * 2001}, "/changed"),
        ({"reason": "x" * 2001}, "/reason"),
        ({"is_shared": "yes"}, "/is_shared"),
        ({"author": "x"}, "/author"),
    ],
)
def test_a_bad_note_is_422_at_its_field(cast, signed_in, body, pointer):
    answer = post_note(signed_in(cast.coach), cast.client, **body)
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert not InterventionNote.objects.exists()
