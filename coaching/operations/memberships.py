"""Members of a practice: away for a while, owners by turns, leaving once somebody has their clients."""

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Literal, TypedDict

from django.db import transaction
from django.db.models import F

from coaching.errors import ConflictError, ForbiddenError, InvalidError
from coaching.models import Actor, Client, DeviceToken, Membership, Plan, Practice, Role
from coaching.operations.audit import record_change
from coaching.operations.changes import tell_anew
from coaching.operations.clients import member_of
from coaching.operations.handed_over_mail import drop_mail_to, hand_over_urgent_mail
from coaching.operations.service_tokens import revoke_those_made_by
from coaching.operations.versions import check_version
from coaching.reads.memberships import membership_for, own_membership


class MembershipChanges(TypedDict, total=False):
    """A merge patch: a key that is absent leaves its field as it is."""

    role: str
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

    An owner also says who is one: ownership is shared, passed on or given up. Raises NotFoundError,
    ForbiddenError, InvalidError, ConflictError for the last owner.
    """
    if "role" in changes:
        _lock_roles(actor)
    member = _locked(actor, membership_uid, expected_version)
    if member.id != actor.membership_id and not actor.is_owner:
        raise ForbiddenError("Only the coach or the owner changes this.")
    if changes.get("role", member.role) != member.role:
        _check_may_change_role(actor, member)
    was_owner = member.role == Role.OWNER
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
    if was_owner != (member.role == Role.OWNER):
        _tell_new_role(actor, member, now)
    _audit(actor, member, "update", now, fields=changes)
    return member


def _check_may_change_role(actor: Actor, member: Membership) -> None:
    if not actor.is_owner:
        raise ForbiddenError("Only an owner says who is one.")
    _check_an_owner_stays(member)


def _tell_new_role(actor: Actor, member: Membership, now: datetime) -> None:
    """An owner sees every client, all that there is of them; who is none any more leaves no token behind."""
    if member.role == Role.OWNER:
        of_practice = Client.objects.filter(practice_id=member.practice_id)
        tell_anew(client_ids=list(of_practice.values_list("id", flat=True)))
    else:
        revoke_those_made_by(actor=actor, member=member, now=now)


@transaction.atomic
def leave_practice(
    *,
    actor: Actor,
    membership_uid: uuid.UUID,
    expected_version: int,
    hand_over_to: uuid.UUID | Literal["owner"] | None,
    now: datetime,
) -> None:
    """End a membership, its devices and its service tokens; "owner" is the acting owner.

    Who is named in `hand_over_to` takes clients, plans, waiting urgent mail, and whom they covered for.

    Raises NotFoundError, ForbiddenError, StaleVersionError, InvalidError, ConflictError while there are
    clients and nobody is named, or for the last owner.
    """
    if not actor.is_owner:
        raise ForbiddenError("Only the owner ends a membership.")
    _lock_roles(actor)
    member = _locked(actor, membership_uid, expected_version)
    _check_an_owner_stays(member)
    clients = Client.objects.filter(coach=member)
    if hand_over_to is not None:
        successor_uid = own_membership(actor).uid if hand_over_to == "owner" else hand_over_to
        _hand_over(actor, member, member_of(actor, successor_uid, field="hand_over_to"), now)
    if clients.exists():
        raise ConflictError("This coach still has clients; name who takes them in hand_over_to.")
    Membership.objects.filter(cover=member).update(cover=None, version=F("version") + 1)
    drop_mail_to(member)
    DeviceToken.objects.filter(membership=member).delete()
    revoke_those_made_by(actor=actor, member=member, now=now)
    member.left_at, member.cover = now, None
    member.away_from_on = member.away_until_on = None
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
    Plan.objects.filter(practice_id=member.practice_id, author_id=member.account_id).update(
        author_id=successor.account_id
    )
    hand_over_urgent_mail(member, successor, now)
    _hand_over_covers(member, successor)


def _hand_over_covers(member: Membership, successor: Membership) -> None:
    """Who was covered by the one who leaves is covered by the successor, who cannot cover for themselves."""
    covered = Membership.objects.select_for_update().filter(cover=member, left_at__isnull=True)
    others = list(covered.exclude(id=successor.id))
    ids = [other.id for other in others]
    Membership.objects.filter(id__in=ids).update(cover=successor, version=F("version") + 1)
    tell_anew(client_ids=list(Client.objects.filter(coach__in=others).values_list("id", flat=True)))


def _lock_roles(actor: Actor) -> None:
    """Before any member is locked: two owners who end each other follow one another, and one stays."""
    Practice.objects.select_for_update(no_key=True).get(id=actor.practice_id)


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


def _audit(actor: Actor, member: Membership, action: str, now: datetime, fields: Iterable[str] = ()) -> None:
    record_change(
        actor=actor,
        practice_id=member.practice_id,
        subject_key=None,
        action=action,
        record_kind="membership",
        record_id=str(member.uid),
        now=now,
        detail={"fields": sorted(fields)} if fields else {},
    )
