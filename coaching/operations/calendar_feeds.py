"""A client's calendar feed: made, revoked, and read by whoever holds its address."""

import hashlib
import secrets
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from coaching.errors import GoneError, NotFoundError
from coaching.models import Actor, CalendarFeed, Client, ErasedDigest
from coaching.models.scope import across_practices, within_practice
from coaching.operations.audit import record_change, record_read_by_feed
from coaching.reads.calendar_feed import FedSession, fed_sessions
from coaching.reads.clients import client_for, local_today

TOKEN_PREFIX = "fbrcal_"  # noqa: S105 - leaked ones can be searched for
MOST_CHARACTERS = 100
READ_STEP = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class NewFeed:
    """`token` is in clear here and nowhere else."""

    feed: CalendarFeed
    token: str


@transaction.atomic
def make_feed(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> NewFeed:
    """A feed with a new address; the earlier address ends. Raises NotFoundError, GoneError.

    Not safe to repeat: each call ends the address that the one before gave.
    """
    client = Client.objects.select_for_update().get(id=client_for(actor, client_uid).id)
    if client.archived_at is not None:
        raise GoneError("This client has left the practice.")
    CalendarFeed.objects.filter(client=client).delete()
    token = TOKEN_PREFIX + secrets.token_urlsafe(32)
    feed = CalendarFeed.objects.create(
        practice_id=client.practice_id,
        client=client,
        token_digest=_digest_of(token),
        made_by_id=actor.account_id,
        created_at=now,
    )
    _audit(actor, client, feed, "create", now)
    return NewFeed(feed, token)


@transaction.atomic
def revoke_feed(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> None:
    """End the feed's address; safe to repeat. Raises NotFoundError."""
    client = Client.objects.select_for_update().get(id=client_for(actor, client_uid).id)
    feed = CalendarFeed.objects.filter(client=client).first()
    if feed is not None:
        _audit(actor, client, feed, "revoke", now)
        feed.delete()


def read_feed(*, token: str, now: datetime) -> tuple[FedSession, ...]:
    """The sessions behind an address; on the trail of reads once an hour.

    Raises NotFoundError, the same for an unknown and a revoked token and for a client who has left; GoneError
    for one of somebody who was erased.
    """
    feed = _feed_of(token)
    if feed is None:
        _check_is_not_erased(token)
        raise NotFoundError("There is no such calendar.")
    with within_practice(feed.practice_id):
        _note_read(feed, now)
        return fed_sessions(feed.client_id, local_today(feed.client, now))


@across_practices("the address is what names the practice")
def _feed_of(token: str) -> CalendarFeed | None:
    if not token.startswith(TOKEN_PREFIX) or len(token) > MOST_CHARACTERS:
        return None
    standing = CalendarFeed.objects.filter(client__archived_at__isnull=True).select_related("client")
    return standing.filter(token_digest=_digest_of(token)).first()


@across_practices("nothing tells any more whose it was")
def _check_is_not_erased(token: str) -> None:
    if ErasedDigest.objects.of_token(_digest_of(token)).exists():
        raise GoneError("This calendar is gone.")


def _digest_of(token: str) -> str:
    """SHA-256 is enough for 256 random bits; a slow hash is for what people choose."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def _note_read(feed: CalendarFeed, now: datetime) -> None:
    """Once an hour; of two reads at once one is noted."""
    is_due = Q(last_read_at__isnull=True) | Q(last_read_at__lte=now - READ_STEP)
    if CalendarFeed.objects.filter(is_due, id=feed.id).update(last_read_at=now):
        record_read_by_feed(
            practice_id=feed.practice_id, feed_uid=feed.uid, subject_key=feed.client.audit_key, now=now
        )


def _audit(actor: Actor, client: Client, feed: CalendarFeed, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action=action,
        record_kind="calendar_feed",
        record_id=str(feed.uid),
        now=now,
    )
