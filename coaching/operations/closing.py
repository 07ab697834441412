"""A practice that closes: nobody gets in, nothing is mailed, and its data stays until a day."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from coaching.errors import ConflictError, ForbiddenError, InvalidError
from coaching.models import (
    Actor,
    CalendarFeed,
    DeviceToken,
    Invitation,
    MailRow,
    MailState,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    OutboxState,
    Practice,
    ServiceToken,
    Webhook,
    WebhookDelivery,
)
from coaching.operations.audit import record_change
from coaching.operations.passwords import prove_current_password

CLOSED = "practice_closed"
USUALLY_KEPT_DAYS = 90
SHORTEST_KEPT_DAYS, LONGEST_KEPT_DAYS = 30, 3660


def close_practice(
    *, actor: Actor, password: str, address: str, keep_until_on: date | None, now: datetime
) -> Practice:
    """End every way in but the owners' to read and export; the data is kept to the end of a day.

    Not atomic as a whole: a wrong password must stay counted. Raises ForbiddenError, InvalidError,
    TooManyAttemptsError, ConflictError where it is closed already.
    """
    if not actor.is_owner:
        raise ForbiddenError("Only the owner closes a practice.")
    prove_current_password(actor=actor, password=password, address=address, now=now)
    return _close(actor, keep_until_on, now)


@transaction.atomic
def _close(actor: Actor, keep_until_on: date | None, now: datetime) -> Practice:
    practice = Practice.objects.select_for_update().get(id=actor.practice_id)
    if practice.closed_at is not None:
        raise ConflictError("This practice is closed already.")
    practice.closed_at = now
    practice.keep_until_on = _checked_day(practice, keep_until_on, now)
    practice.save(update_fields=["closed_at", "keep_until_on"])
    _end_ways_in(practice, now)
    _end_what_runs(practice, now)
    record_change(
        actor=actor,
        practice_id=practice.id,
        subject_key=None,
        action="close",
        record_kind="practice",
        record_id=str(practice.uid),
        now=now,
        detail={"keep_until_on": str(practice.keep_until_on)},
    )
    return practice


def _checked_day(practice: Practice, keep_until_on: date | None, now: datetime) -> date:
    today = now.astimezone(ZoneInfo(practice.zone)).date()
    if keep_until_on is None:
        return today + timedelta(days=USUALLY_KEPT_DAYS)
    first, last = (today + timedelta(days=days) for days in (SHORTEST_KEPT_DAYS, LONGEST_KEPT_DAYS))
    if not first <= keep_until_on <= last:
        detail = f"The data is kept until a day from {first} to {last}."
        raise InvalidError.at("keep_until_on", "out_of_range", detail)
    return keep_until_on


def _end_ways_in(practice: Practice, now: datetime) -> None:
    DeviceToken.objects.filter(practice=practice).delete()
    ServiceToken.objects.kept().filter(practice=practice).update(revoked_at=now)
    CalendarFeed.objects.filter(practice=practice).delete()
    waiting = Invitation.objects.filter(practice=practice, accepted_at__isnull=True, expires_at__gt=now)
    waiting.update(expires_at=now)


def _end_what_runs(practice: Practice, now: datetime) -> None:
    nights = Night.objects.filter(practice=practice, status__in=[NightStatus.DUE, NightStatus.RUNNING])
    nights.update(status=NightStatus.SKIPPED, finished_at=now, reason="the practice was closed")
    NightClient.objects.filter(practice=practice, state=NightClientState.TODO).delete()
    MailRow.objects.filter(practice=practice, state=MailState.WAITING).update(
        state=MailState.DEAD, error_code=CLOSED
    )
    Webhook.objects.filter(practice=practice).update(is_active=False)
    WebhookDelivery.objects.filter(practice=practice, state=OutboxState.WAITING).update(
        state=OutboxState.DEAD, error_code=CLOSED
    )
