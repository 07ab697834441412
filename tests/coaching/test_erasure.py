"""Erased means erased: every table is filled with two people, one goes, and every column is searched."""

from datetime import timedelta

import pytest
from django.apps import apps
from django.core import serializers
from django.core.management import call_command

from coaching.errors import GoneError
from coaching.exchange.erasing import erase_by_hand
from coaching.models import (
    Account,
    AuditEvent,
    Client,
    DeviceToken,
    ErasedDigest,
    Erasure,
    MailRow,
    Night,
    NightClient,
    id_digest,
)
from coaching.models.person import WAY_TO_CLIENT
from coaching.nightly import night_by_hand, run_night
from coaching.reads.invariants import broken_rules
from tests.canaries import cells, marks_of, person, where
from tests.constraint_rows import world
from tests.factories import NOW, ClientFactory

LATER = NOW + timedelta(days=1)
# Rows that point at a client's, and are of nobody: none so far.
SHARED: set[type] = set()


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


def test_what_is_left_of_a_merged_duplicate_goes_with_its_person(rows):
    stays, duplicate = person(rows, "Zaphira"), person(rows, "Quillon")
    account = duplicate.account  # the merged one has none: two accounts are not merged
    words = {"Quillon"} | marks_of(duplicate) - {str(duplicate.audit_key), str(account.id)}
    Client.objects.filter(id=duplicate.id).update(account=None, archived_at=NOW, merged_into=stays)
    MailRow.objects.filter(recipient=account.email).delete()
    account.delete()
    erase_by_hand(client=stays, now=NOW)
    assert where(words) == set()
    assert not Client.objects.filter(id__in=[stays.id, duplicate.id]).exists()
    assert ErasedDigest.objects.of_records(stays.practice_id, [duplicate.uid]).exists()
    of_duplicate = AuditEvent.objects.filter(subject_key=duplicate.audit_key)
    assert set(of_duplicate.values_list("record_id", flat=True)) == {""}


def test_the_trail_keeps_that_something_was_read_and_leads_to_nobody(two):
    one, _ = two
    before = AuditEvent.objects.filter(subject_key=one.audit_key).count()
    erase_by_hand(client=one, now=NOW)
    kept = AuditEvent.objects.filter(subject_key=one.audit_key)
    assert kept.count() == before + 1
    assert set(kept.values_list("record_id", flat=True)) == {""}
    assert kept.latest("id").action == "erase"


def test_erased_in_the_midst_of_a_night_the_night_ends_without_them(rows):
    one = person(rows, "Zaphira")
    Night.objects.filter(id=rows.night.id).update(
        status="done", clients_total=2, clients_scored=1, clients_failed=1
    )
    NightClient.objects.filter(client=one).update(state="failed")
    erase_by_hand(client=one, now=NOW)
    night = Night.objects.get(id=rows.night.id)
    assert (night.clients_total, night.clients_scored, night.clients_failed) == (1, 1, 0)


def test_after_an_erasure_whatever_must_hold_between_rows_still_holds(cast):
    night = night_by_hand(practice=cast.practice, night_on=NOW.date(), now=NOW)
    run_night(night=night, now=NOW)
    erase_by_hand(client=cast.client, now=NOW)
    assert Night.objects.get(id=night.id).clients_total == 1
    assert [broken for broken in broken_rules(cast.practice, now=NOW) if broken] == []


def test_an_account_with_another_place_stays(rows):
    one = person(rows, "Zaphira")
    elsewhere = ClientFactory(account=one.account)
    erased = erase_by_hand(client=one, now=NOW)
    assert not erased.has_account_gone
    assert Client.objects.get(id=elsewhere.id).account_id == one.account_id
    assert Account.objects.filter(id=one.account_id).exists()
    assert not DeviceToken.objects.filter(client_id=one.id).exists()


def test_a_second_erasure_finds_nobody_and_leaves_one_tombstone(rows):
    one = person(rows, "Zaphira")
    erase_by_hand(client=one, now=NOW)
    with pytest.raises(GoneError):
        erase_by_hand(client=one, now=LATER)
    assert list(Erasure.objects.exclude(client_digest="0" * 64).values_list("erased_at", flat=True)) == [NOW]


def test_mail_files_to_and_about_the_person_go_and_others_stay(rows, settings):
    one = person(rows, "Zaphira")
    coach = rows.coach.account.email
    folder = settings.OUTBOX_DIR
    folder.mkdir()
    kinds = {
        "20260301T050000Z-morning-a": (coach, "morning"),
        "20260301T060000Z-urgent-b": (coach, "urgent"),
        "20260301T060000Z-reset-c": (one.account.email, "reset"),
        "20260301T060000Z-reset-d": (coach, "reset"),
        "20200301T050000Z-morning-e": (coach, "morning"),
        "20260301T050000Z-morning-f": ("else@example.org", "morning"),
    }
    for name, (to, kind) in kinds.items():
        text = f"To: {to}\r\nX-Forbear-Kind: {kind}\r\n\r\nZaphira\r\n"
        (folder / f"{name}.eml").write_text(text, newline="")
    pictures = settings.VAR_DIR / "pictures"
    pictures.mkdir()
    for name in ("zaphira-lift-left-knee", "zaphira-lifter-left-knee"):
        (pictures / f"{name}.png").write_bytes(b"")
    erase_by_hand(client=one, now=NOW)
    assert sorted(path.stem[-1] for path in folder.iterdir()) == ["d", "e", "f"]
    assert [path.stem for path in pictures.iterdir()] == ["zaphira-lifter-left-knee"]


def test_every_model_with_a_way_to_a_client_is_erased():
    """By the foreign keys of all models, so that a new table cannot be forgotten."""
    leads = {Client}
    grown = True
    while grown:
        grown = False
        for model in apps.get_app_config("coaching").get_models():
            if model in leads or model in SHARED:
                continue
            if any(field.is_relation and field.related_model in leads for field in model._meta.fields):
                leads.add(model)
                grown = True
    assert leads == set(WAY_TO_CLIENT)


def test_a_restored_dump_is_erased_again(rows, tmp_path):
    """What a backup would hold, put back row by row after the erasure."""
    one, other = person(rows, "Zaphira"), person(rows, "Quillon")
    words = {"Zaphira"} | marks_of(one)
    dump = serializers.serialize("json", backup_of())
    erase_by_hand(client=one, now=NOW)
    tombstones = list(Erasure.objects.get(client_digest=id_digest(one.uid)).digests.values_list("digest"))
    file = tmp_path / "erasures.jsonl"
    call_command("erasures", "--export", str(file))
    assert not any(word in file.read_text() for word in words)
    Erasure.objects.all().delete()
    for row in serializers.deserialize("json", dump):
        row.save()
    assert where(words)
    call_command("erasures", "--apply", str(file))
    call_command("erasures", "--apply", str(file))
    assert where(words - {str(one.audit_key)}) == set()
    assert Client.objects.filter(id=other.id).exists()
    again = Erasure.objects.get(client_digest=id_digest(one.uid))
    assert again.erased_at == NOW
    assert sorted(again.digests.values_list("digest")) == sorted(tombstones)


def backup_of():
    for model in apps.get_models():
        if model is not AuditEvent and model._meta.app_label == "coaching":
            yield from model._default_manager.all()
