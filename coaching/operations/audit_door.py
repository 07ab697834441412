"""The one door past the guard of the audit trail: forgetting a person, and letting old rows go."""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Literal

from django.db import connection, transaction
from django.db.models import Q

from coaching.models import AuditEvent

Door = Literal["erasure", "retention"]


def forget_subject(*, subject_key: uuid.UUID, own_account_id: uuid.UUID | None) -> int:
    """Empty what could still lead to an erased client: ids of records, and the client's own account.

    That somebody read or changed a record, when, and who of the practice it was stays. Safe to repeat.
    """
    rows = AuditEvent.objects.filter(subject_key=subject_key)
    with open_door("erasure"):
        if own_account_id is not None:
            rows.filter(account_id=own_account_id).update(account_id=None, device_id=None)
        # Where nobody was signed in, the client's own calendar feed stands for the device.
        rows.filter(account_id__isnull=True, device_id__isnull=False).update(device_id=None)
        return rows.filter(~Q(record_id="") | ~Q(detail={})).update(record_id="", detail={})


def forget_account(*, account_id: uuid.UUID) -> None:
    """Empty what still leads to an account that goes, in the scope of the caller. Safe to repeat.

    What it did to records of others stays on their trail, by nobody.
    """
    own = AuditEvent.objects.filter(account_id=account_id)
    about = AuditEvent.objects.filter(
        subject_key__isnull=True, record_kind="account", record_id=str(account_id)
    )
    with open_door("erasure"):
        own.filter(subject_key__isnull=True).update(record_id="", detail={})
        own.update(account_id=None, device_id=None)
        about.update(record_id="", detail={})


def drop_before(*, practice_id: int, before: datetime, at_most: int) -> int:
    """Let go of what a practice keeps no longer, oldest first; how many rows. Safe to repeat."""
    old = AuditEvent.objects.filter(practice_id=practice_id, at__lt=before)
    ids = list(old.order_by("at", "id").values_list("id", flat=True)[:at_most])
    with open_door("retention"):
        return AuditEvent.objects.filter(id__in=ids).delete()[0]


@contextmanager
def open_door(door: Door) -> Iterator[None]:
    """Within this transaction alone: an `erasure` may empty, a `retention` may delete."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with _as_setting(door):
                yield
        else:
            with _without_triggers():
                yield


@contextmanager
def _as_setting(door: Door) -> Iterator[None]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('forbear.audit_door', %s, true)", [door])
        yield
        cursor.execute("SELECT set_config('forbear.audit_door', '', true)")


@contextmanager
def _without_triggers() -> Iterator[None]:
    """SQLite has no settings of a session; its one writer takes the triggers away and puts them back."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'coaching_auditevent'"
        )
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f'DROP TRIGGER "{name}"')
        yield
        for _, statement in triggers:
            cursor.execute(statement)
