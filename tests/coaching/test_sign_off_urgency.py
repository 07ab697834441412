from datetime import date

import pytest
from django.core.management import CommandError, call_command

from coaching.compute import red_flags
from coaching.models import UrgencySignOff
from coaching.reads.urgency import urgency_review_note

REVIEW = {"name": "Dana Doctor", "profession": "sports physician", "on": date(2026, 3, 1), "country": "de"}


def record(**changes):
    call_command("sign_off_urgency", **REVIEW | changes)


def test_until_a_review_is_recorded_the_note_says_that_there_is_none(db):
    assert urgency_review_note("DE") == red_flags.SIGN_OFF


def test_a_recorded_review_is_named_for_its_country_only(db):
    record()
    assert "Dana Doctor, sports physician" in urgency_review_note("DE")
    assert urgency_review_note("FR") == red_flags.SIGN_OFF


def test_a_review_holds_for_the_version_of_the_table_it_was_made_of(db, monkeypatch):
    record()
    monkeypatch.setattr(red_flags, "VERSION", "99")
    assert urgency_review_note("DE") == red_flags.SIGN_OFF


def test_the_same_review_again_adds_nothing(db):
    record()
    record()
    assert UrgencySignOff.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "option"),
    [
        ({"name": " "}, "--name"),
        ({"profession": ""}, "--profession"),
        ({"on": date(2099, 1, 1)}, "--on"),
        ({"country": "Germany"}, "--country"),
    ],
)
def test_a_faulty_review_is_refused_with_the_option_named(db, changes, option):
    with pytest.raises(CommandError, match=option) as refusal:
        record(**changes)
    assert refusal.value.returncode == 2
    assert not UrgencySignOff.objects.exists()
