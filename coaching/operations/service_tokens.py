"""Service tokens: made, looked up and revoked; the token itself is shown once and kept as a digest."""

import hashlib
import secrets
import uuid
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from coaching.errors import ConflictError, FieldFault, ForbiddenError, InvalidError
from coaching.models import Actor, Membership, Role, ServiceScope, ServiceToken
from coaching.operations.audit import record_change
from coaching.reads.memberships import members_of, own_membership
from coaching.reads.service_tokens import service_token_for

TOKEN_PREFIX = "fbrsvc_"  # noqa: S105 - leaked ones can be searched for  # nosec B105
LONGEST = timedelta(days=365)
PER_PRACTICE = 50
USE_STEP = timedelta(minutes=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceTokenContent:
    """What it is for, what it may do and until when; without coaches it sees the whole practice."""

    name: str
    scopes: tuple[str, ...]
    expires_at: datetime
    coach_uids: tuple[uuid.UUID, ...] | None = None


@dataclass(frozen=True, slots=True)
class NewServiceToken:
    """`token` is in clear here and nowhere else."""

    row: ServiceToken
    token: str


@transaction.atomic
def make_service_token(*, actor: Actor, content: ServiceTokenContent, now: datetime) -> NewServiceToken:
    """A token for a program. Raises ForbiddenError, InvalidError, ConflictError beyond the most there may be.

    Not safe to repeat: each call makes another.
    """
    if not actor.is_owner:
        raise ForbiddenError("Only the owner makes service tokens.")
    coaches = _coaches_named(actor, content)
    _check(content, now)
    maker = Membership.objects.select_for_update().get(id=own_membership(actor).id)
    if ServiceToken.objects.kept().filter(practice_id=actor.practice_id).count() >= PER_PRACTICE:
        raise ConflictError(f"A practice has at most {PER_PRACTICE} service tokens; revoke one first.")
    token = TOKEN_PREFIX + secrets.token_urlsafe(32)
    row = ServiceToken.objects.create(
        practice_id=actor.practice_id,
        name=content.name,
        scopes=[scope for scope in ServiceScope.values if scope in content.scopes],
        sees_all_clients=content.coach_uids is None,
        token_digest=_digest_of(token),
        made_by=maker,
        created_at=now,
        expires_at=content.expires_at,
    )
    row.coaches.set(coaches)
    _audit(actor, row, "create", now)
    return NewServiceToken(row, token)


@transaction.atomic
def revoke_service_token(*, actor: Actor, token_uid: uuid.UUID, now: datetime) -> None:
    """End a token at once. Raises ForbiddenError, NotFoundError."""
    if not actor.is_owner:
        raise ForbiddenError("Only the owner revokes service tokens.")
    row = service_token_for(actor, token_uid)
    ServiceToken.objects.kept().filter(id=row.id).update(revoked_at=now)
    _audit(actor, row, "revoke", now)


def revoke_those_made_by(*, actor: Actor, member: Membership, now: datetime) -> None:
    """In the caller's transaction: who is an owner no longer leaves no token behind."""
    rows = list(ServiceToken.objects.kept().filter(made_by=member))
    ServiceToken.objects.filter(id__in=[row.id for row in rows]).update(revoked_at=now)
    for row in rows:
        _audit(actor, row, "revoke", now)


def usable_service_token(*, token: str, now: datetime) -> ServiceToken | None:
    """The row behind a token that opens something; its use is noted every ten minutes."""
    rows = ServiceToken.objects.usable(now).filter(token_digest=_digest_of(token))
    row = rows.select_related("made_by__account", "practice").prefetch_related("coaches").first()
    if row is None or not row.made_by.account.is_active:
        return None
    is_due = Q(last_used_at__isnull=True) | Q(last_used_at__lte=now - USE_STEP)
    if row.last_used_at is None or now - row.last_used_at >= USE_STEP:
        ServiceToken.objects.filter(is_due, id=row.id).update(last_used_at=now)
    return row


def service_actor(row: ServiceToken) -> Actor:
    """Acts in its maker's name, so that the trail has both; it is no member and so has no role of one."""
    return Actor(
        account_id=row.made_by.account_id,
        device_id=row.uid,
        practice_id=row.practice_id,
        role=Role.SERVICE,
        sees_all_clients=row.sees_all_clients,
        coach_ids=tuple(coach.id for coach in row.coaches.all() if coach.left_at is None),
        scopes=frozenset(row.scopes),
    )


def _coaches_named(actor: Actor, content: ServiceTokenContent) -> Collection[Membership]:
    if content.coach_uids is None:
        return ()
    found = {row.uid: row for row in members_of(actor).filter(uid__in=content.coach_uids)}
    faults = tuple(
        FieldFault(("coaches", index), "unknown_member", "There is no such member of the practice.")
        for index, uid in enumerate(content.coach_uids)
        if uid not in found
    )
    if faults:
        raise InvalidError("Some of the coaches are not of this practice.", faults)
    return found.values()


def _check(content: ServiceTokenContent, now: datetime) -> None:
    if content.expires_at <= now:
        raise InvalidError.at("expires_at", "in_past", "It would have ended already.")
    if content.expires_at > now + LONGEST:
        raise InvalidError.at("expires_at", "too_late", f"It ends within {LONGEST.days} days.")


def _digest_of(token: str) -> str:
    """SHA-256 is enough for 256 random bits; a slow hash is for what people choose."""
    return hashlib.sha256(token.encode()).hexdigest()


def _audit(actor: Actor, row: ServiceToken, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=row.practice_id,
        subject_key=None,
        action=action,
        record_kind="service_token",
        record_id=str(row.uid),
        now=now,
        detail={"name": row.name, "scopes": row.scopes} if action == "create" else {},
    )
