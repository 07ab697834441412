"""Deleting a closed practice for good, once the day is over until which its data was to be kept."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db import models, transaction
from django.db.models import Q

from coaching.models import (
    Account,
    Alert,
    Assignment,
    AuditEvent,
    CalendarFeed,
    Change,
    Clearance,
    Client,
    Consent,
    DeviceToken,
    Erasure,
    Exercise,
    ExerciseAlternative,
    Injury,
    InterventionNote,
    Invitation,
    JointDay,
    JointStress,
    LiftDay,
    LoggedSet,
    MailRow,
    Membership,
    Night,
    NightClient,
    PainReport,
    Plan,
    Practice,
    Prescription,
    Referral,
    Restriction,
    ScheduledSession,
    Score,
    ServiceToken,
    Session,
    Webhook,
    WebhookDelivery,
)
from coaching.models.scope import across_practices
from coaching.operations.audit_door import open_door

# Whatever points at something goes before it. What has no practice of its own goes with what it belongs to.
IN_ORDER: tuple[type[models.Model], ...] = (
    DeviceToken,
    ServiceToken,
    Erasure,
    MailRow,
    WebhookDelivery,
    Webhook,
    AuditEvent,
    Change,
    CalendarFeed,
    Invitation,
    NightClient,
    Score,
    Night,
    JointDay,
    LiftDay,
    LoggedSet,
    PainReport,
    Session,
    Alert,
    Restriction,
    Injury,
    Clearance,
    InterventionNote,
    Referral,
    Consent,
    ScheduledSession,
    Assignment,
    Prescription,
    Plan,
    JointStress,
    Exercise,
    Client,
    Membership,
)


@dataclass(frozen=True, slots=True)
class DeletedPractice:
    practice_uid: uuid.UUID
    rows: int


@across_practices("which practices have closed")
def practices_to_delete(*, now: datetime) -> list[Practice]:
    """The closed ones whose last day is over where they are."""
    closed = Practice.objects.filter(closed_at__isnull=False).order_by("id")
    return [
        row
        for row in closed
        if row.keep_until_on and row.keep_until_on < now.astimezone(ZoneInfo(row.zone)).date()
    ]


@across_practices("who of it is at home elsewhere, and whom nothing points at any more")
@transaction.atomic
def delete_practice(*, practice: Practice, now: datetime) -> DeletedPractice:
    """Every row of it, and the accounts that are at home nowhere else; there is no way back.

    Deletes nothing of a practice that is open, or still to be kept.
    """
    locked = Practice.objects.select_for_update().filter(id=practice.id).first()
    if locked is None or locked not in practices_to_delete(now=now):
        return DeletedPractice(practice.uid, 0)
    accounts = _accounts_of(locked)
    of_own = Q(exercise__practice=locked) | Q(alternative__practice=locked)
    rows, _ = ExerciseAlternative.objects.filter(of_own).delete()
    with open_door("retention"):
        for model in IN_ORDER:
            deleted, _ = model._default_manager.filter(practice=locked).delete()
            rows += deleted
    locked.delete()
    lost = Account.objects.filter(id__in=accounts)
    lost = lost.exclude(id__in=Membership.objects.values("account_id"))
    lost = lost.exclude(id__in=Client.objects.filter(account__isnull=False).values("account_id"))
    deleted, _ = lost.delete()
    return DeletedPractice(practice.uid, rows + deleted + 1)


def _accounts_of(practice: Practice) -> set[uuid.UUID]:
    members = Membership.objects.filter(practice=practice).values_list("account_id", flat=True)
    clients = Client.objects.filter(practice=practice).values_list("account_id", flat=True)
    return {account_id for account_id in (*members, *clients) if account_id is not None}
