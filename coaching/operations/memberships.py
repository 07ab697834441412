"""Coaches of a practice: away for a while, or leaving for good once somebody has their clients."""

import uuid
from datetime import date, datetime
from typing import Literal, TypedDict

from django.db import transaction
from django.db.models import F

from coaching.errors import ConflictError, ForbiddenError, InvalidError
from coaching.models import Actor, Client, DeviceToken, Membership, Role
from coaching.operations.audit import record_change
from coaching.operations.changes import tell_anew
from coaching.operations.clients import member_of
from coaching.operations.versions import check_version
from coaching.reads.memberships import membership_for, own_membership


class MembershipChanges(TypedDict, total=False):
    """A merge patch: a key that is absent leaves its field as it is."""

    away_from_on: date | None
    away_until_on: date | None
    cover: uuid.UUID | None
    wants_digest: bool
    weekly_sets_floor: float | None
    weekly_sets_ceiling: float | None


@transaction.atomic
def update_membership(
    *,
    actor: Actor,
    membership_uid: uuid.UUID,
    expected_version: int,
    changes: MembershipChanges,
    now: datetime,
) -> Membership:
    """Set one's own absence, cover, digest and weekly sets; the owner may do it for a coach who cannot.

    Raises NotFoundError, ForbiddenError, InvalidError.
    """
    member = _locked(actor, membership_uid, expected_version)
    if member.id != actor.membership_id and not actor.is_owner:
        raise ForbiddenError("Only the coach or the owner changes this.")
    for field, value in changes.items():
        if field != "cover":
            setattr(member, field, value)
    if "cover" in changes:
        cover_uid = changes["cover"]
        member.cover = member_of(actor, cover_uid, field="cover") if cover_uid else None
    _check(member)
    member.version += 1
    member.save()
    if "cover" in changes and member.cover is not None:
        tell_anew(client_ids=list(Client.objects.filter(coach=member).values_list("id", flat=True)))
    _audit(actor, member, "update", now)
    return member


@transaction.atomic
def leave_practice(
    *,
    actor: Actor,
    membership_uid: uuid.UUID,
    expected_version: int,
    hand_over_to: uuid.UUID | Literal["owner"] | None,
    now: datetime,
) -> None:
    """End a membership and all its devices; `hand_over_to` takes the clients, "owner" is the acting owner.

    Raises NotFoundError, ForbiddenError, StaleVersionError, InvalidError, ConflictError while there are
    clients and nobody is named, or for the last owner.
    """
    if not actor.is_owner:
        raise ForbiddenError("Only the owner ends a membership.")
    member = _locked(actor, membership_uid, expected_version)
    _check_an_owner_stays(member)
    clients = Client.objects.filter(coach=member)
    if hand_over_to is not None:
        successor_uid = own_membership(actor).uid if hand_over_to == "owner" else hand_over_to
        _hand_over(actor, member, member_of(actor, successor_uid, field="hand_over_to"), now)
    if clients.exists():
        raise ConflictError("This coach still has clients; name who takes them in hand_over_to.")
    Membership.objects.filter(cover=member).update(cover=None, version=F("version") + 1)
    DeviceToken.objects.filter(membership=member).delete()
    member.left_at, member.cover = now, None
    member.version += 1
    member.save()
    _audit(actor, member, "leave", now)


def _hand_over(actor: Actor, member: Membership, successor: Membership, now: datetime) -> None:
    if successor.id == member.id:
        raise InvalidError.at("hand_over_to", "same_member", "Name somebody who stays.")
    clients = list(Client.objects.select_for_update().filter(coach=member))
    Client.objects.filter(coach=member).update(coach=successor, version=F("version") + 1)
    tell_anew(client_ids=[client.id for client in clients])
    for client in clients:
        record_change(
            actor=actor,
            practice_id=client.practice_id,
            subject_key=client.audit_key,
            action="hand_over",
            record_kind="client",
            record_id=str(client.uid),
            now=now,
        )


def _locked(actor: Actor, membership_uid: uuid.UUID, expected_version: int) -> Membership:
    seen = membership_for(actor, membership_uid)
    member = (
        Membership.objects.select_for_update(of=("self",)).select_related("account", "cover").get(id=seen.id)
    )
    check_version(member, expected_version)
    return member


def _check(member: Membership) -> None:
    starts, ends = member.away_from_on, member.away_until_on
    if ends is not None and starts is None:
        raise InvalidError.at("away_from_on", "required", "Say from when.")
    if starts is not None and ends is None:
        raise InvalidError.at("away_until_on", "required", "Say until when.")
    if starts is not None and ends is not None and ends < starts:
        raise InvalidError.at("away_until_on", "before_start", "The absence ends before it starts.")
    if member.cover_id is not None and member.cover_id == member.id:
        raise InvalidError.at("cover", "same_member", "Nobody covers for themselves.")
    floor, ceiling = member.weekly_sets_floor, member.weekly_sets_ceiling
    if floor is not None and ceiling is not None and ceiling < floor:
        raise InvalidError.at("weekly_sets_ceiling", "below_floor", "The ceiling lies below the floor.")


def _check_an_owner_stays(member: Membership) -> None:
    owners = Membership.objects.select_for_update().filter(
        practice_id=member.practice_id, role=Role.OWNER, left_at__isnull=True
    )
    if member.role == Role.OWNER and all(owner.id == member.id for owner in owners):
        raise ConflictError("A practice keeps at least one owner.")


def _audit(actor: Actor, member: Membership, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=member.practice_id,
        subject_key=None,
        action=action,
        record_kind="membership",
        record_id=str(member.uid),
        now=now,
    )
