"""Erased means erased: every table is filled with two people, one goes, and every column is searched."""

from datetime import timedelta

import pytest

from coaching.exchange.erasing import erase_by_hand
from coaching.models import (
    AuditEvent,
)
from coaching.models.person import WAY_TO_CLIENT
from tests.canaries import cells, marks_of, person, where
from tests.constraint_rows import world
from tests.factories import NOW

LATER = NOW + timedelta(days=1)
OF_NOBODY = {"coaching_lease", "coaching_signinfailures"}


@pytest.fixture
def rows(db):
    return world()


@pytest.fixture
def two(rows):
    return person(rows, "Zaphira"), person(rows, "Quillon")


def test_before_an_erasure_the_search_finds_the_person_in_every_table_about_people(two):
    tables = {model._meta.db_table for model in WAY_TO_CLIENT} | {"coaching_account", "coaching_mailrow"}
    found = where({"Zaphira"} | marks_of(two[0]))
    by_key_alone = {"coaching_jointday", "coaching_bodymass", "coaching_liftday", "coaching_nightclient",
                    "coaching_score"}  # fmt: skip
    assert tables - by_key_alone <= found


def test_of_who_is_erased_no_column_of_any_table_holds_a_word_or_an_id(two):
    one, _ = two
    words = {"Zaphira"} | marks_of(one)
    key = one.audit_key
    erase_by_hand(client=one, now=NOW)
    assert where(words - {str(key)}) == set()
    assert where({str(key)}) == {"coaching_auditevent"}


def test_of_everybody_else_nothing_changes(two):
    one, other = two
    words = {"Quillon"} | marks_of(other)
    before = sorted(cell for cell in cells() if any(word in cell[1] for word in words))
    counts = {
        model: model._default_manager.filter(**{way or "pk": other.pk}).count()
        for model, way in WAY_TO_CLIENT.items()
    }
    rows = {
        model: list(model._default_manager.filter(**{way or "pk": other.pk}).values())
        for model, way in WAY_TO_CLIENT.items()
    }
    erase_by_hand(client=one, now=NOW)
    assert sorted(cell for cell in cells() if any(word in cell[1] for word in words)) == before
    for model, way in WAY_TO_CLIENT.items():
        left = model._default_manager.filter(**{way or "pk": other.pk})
        assert left.count() == counts[model] > 0
        assert list(left.values()) == rows[model]


def test_the_trail_keeps_that_something_was_read_and_leads_to_nobody(two):
    one, _ = two
    before = AuditEvent.objects.filter(subject_key=one.audit_key).count()
    erase_by_hand(client=one, now=NOW)
    kept = AuditEvent.objects.filter(subject_key=one.audit_key)
    assert kept.count() == before + 1
    assert set(kept.values_list("record_id", flat=True)) == {""}
    assert kept.latest("id").action == "erase"
