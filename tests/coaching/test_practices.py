"""A practice begins at the command line."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from coaching.models import Invitation, Practice
from coaching.operations.invitations import accept_invitation
from coaching.operations.places import emergency_text_of
from tests.factories import NOW

ARGUMENTS = {
    "name": "Harbour Strength",
    "zone": "Europe/Berlin",
    "country": "de",
    "owner_email": "olga@example.org",
}


def create(**changes):
    out = StringIO()
    call_command("create_practice", **(ARGUMENTS | changes), stdout=out)
    return out.getvalue()


def test_the_command_makes_a_practice_and_its_owners_invitation(db):
    made = json.loads(create(json=True))
    practice = Practice.objects.get()
    assert made["practice"] == str(practice.uid)
    assert (practice.zone, practice.country, practice.emergency_text) == ("Europe/Berlin", "DE", "112")
    assert Invitation.objects.get().role == "owner"


def test_the_printed_token_lets_the_owner_in(db):
    token = json.loads(create(json=True))["token"]
    signed_in = accept_invitation(
        token=token,
        name="Olga Owner",
        password="lantern-horse-staple",
        device_name="desk",
        address="192.0.2.1",
        now=Invitation.objects.get().created_at,
    )
    assert signed_in.actor.is_owner


def test_the_lines_for_a_person_name_token_and_address(db):
    lines = create()
    assert "olga@example.org" in lines
    assert "/api/v1/invitations/accept" in lines


def test_an_own_emergency_text_is_kept(db):
    create(emergency_text="112, or the club's first aider on channel 4")
    assert Practice.objects.get().emergency_text.startswith("112, or")


@pytest.mark.parametrize(
    ("country", "text"),
    [("GB", "999 or 112"), ("US", "911"), ("FR", "112"), ("AQ", "your local emergency number")],
)
def test_the_emergency_text_is_the_countrys_or_a_general_one(country, text):
    assert emergency_text_of(country) == text


@pytest.mark.parametrize(
    ("changes", "option"),
    [
        ({"zone": "Europe/Nowhere"}, "--zone"),
        ({"zone": "../../etc/passwd"}, "--zone"),
        ({"zone": "/usr/share/zoneinfo/UTC"}, "--zone"),
        ({"zone": "localtime"}, "--zone"),
        ({"zone": "a\0b"}, "--zone"),
        ({"zone": ""}, "--zone"),
        ({"country": "DEU"}, "--country"),
        ({"country": "D1"}, "--country"),
        ({"country": "ÄÖ"}, "--country"),
        ({"owner_email": "olga"}, "--owner-email"),
        ({"owner_email": "olga@example.org\nBcc: x@example.org"}, "--owner-email"),
        ({"name": "  "}, "--name"),
        ({"name": "x" * 121}, "--name"),
        ({"name": "two\nlines"}, "--name"),
        ({"emergency_text": "x" * 201}, "--emergency-text"),
    ],
)
def test_a_bad_option_is_named_in_one_sentence_with_exit_status_2(db, changes, option):
    with pytest.raises(CommandError) as refusal:
        create(**changes)
    assert refusal.value.returncode == 2
    assert str(refusal.value).startswith(f"{option}: ")
    assert "\n" not in str(refusal.value)
    assert not Practice.objects.exists()


def test_nothing_is_read_from_the_clock(db):
    from coaching.operations.practices import create_practice

    made = create_practice(name="Hillside", zone="UTC", country="GB", owner_email="o@example.org", now=NOW)
    assert made.practice.created_at == made.invitation.invitation.created_at == NOW
