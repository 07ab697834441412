"""A client's injury history: reported by the client, kept by the coach."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypedDict

from django.db import transaction

from coaching.errors import ForbiddenError, InvalidError, NotFoundError
from coaching.models import Actor, Client, Injury, InjuryStatus, SaidBy
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.sites import check_site
from coaching.operations.standing import check_may_store
from coaching.operations.versions import Kept, check_version, looking_twice, twin_of
from coaching.reads.clients import client_for, local_today


@dataclass(frozen=True, slots=True, kw_only=True)
class InjuryReport:
    """What anybody may say about an injury, the client included."""

    joint: str
    side: str
    other_site: str = ""
    onset_on: date | None = None
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InjuryJudgement:
    """What only a coach may add: who said it, and what follows for training."""

    said_by: str = SaidBy.COACH
    status: str = InjuryStatus.ACTIVE
    cautions: str = ""
    weekly_joint_reps_cap: int | None = None
    pain_limit: int | None = None


class InjuryChanges(TypedDict, total=False):
    """A merge patch: a key that is absent leaves its field as it is."""

    joint: str
    side: str
    other_site: str
    onset_on: date | None
    said: str
    said_by: str
    status: str
    cautions: str
    weekly_joint_reps_cap: int | None
    pain_limit: int | None


@looking_twice
@transaction.atomic
def report_injury(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    report: InjuryReport,
    judgement: InjuryJudgement | None = None,
    now: datetime,
    own_uid: uuid.UUID | None = None,
) -> Kept[Injury]:
    """Add an entry to the injury history; a client's own words are kept as said by the client.

    Safe to repeat with an id of one's own; without, a joint can be hurt twice. Raises NotFoundError,
    ForbiddenError, InvalidError, ConsentMissingError, GoneError, ConflictError.
    """
    client = client_for(actor, client_uid)
    check_may_store(client)
    if judgement is not None and not actor.is_coach:
        raise ForbiddenError("Only a coach judges what follows from an injury.")
    injury = Injury(
        uid=own_uid or uuid.uuid4(),
        practice_id=client.practice_id,
        client=client,
        joint=report.joint,
        side=report.side,
        other_site=report.other_site,
        onset_on=report.onset_on,
        said=report.said,
        said_by=SaidBy.COACH if actor.is_coach else SaidBy.CLIENT,
        created_at=now,
    )
    if judgement is not None:
        injury.said_by, injury.status = judgement.said_by, judgement.status
        injury.cautions = judgement.cautions
        injury.weekly_joint_reps_cap, injury.pain_limit = (
            judgement.weekly_joint_reps_cap,
            judgement.pain_limit,
        )
    _check(injury, local_today(client, now))
    standing = twin_of(injury, visible=Injury.objects.filter(client=client)) if own_uid else None
    if standing is not None:
        return Kept(standing, is_new=False)
    injury.save(force_insert=True)
    _audit(actor, injury, "create", now)
    return Kept(injury, is_new=True)


@transaction.atomic
def update_injury(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    injury_uid: uuid.UUID,
    expected_version: int,
    changes: InjuryChanges,
    now: datetime,
) -> Injury:
    """Edit an entry. Raises NotFoundError, ForbiddenError, InvalidError, StaleVersionError, and as above."""
    seen = injury_of(actor, client_uid, injury_uid)
    if not actor.is_coach:
        raise ForbiddenError("Only a coach edits the injury history.")
    check_may_store(seen.client)
    injury = Injury.objects.select_for_update(of=("self",)).select_related("client").get(id=seen.id)
    check_version(injury, expected_version)
    for field, value in changes.items():
        setattr(injury, field, value)
    _check(injury, local_today(injury.client, now))
    injury.version += 1
    injury.save()
    _audit(actor, injury, "update", now, fields=sorted(changes))
    return injury


def read_injuries(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[Injury]:
    """A client's injury history. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    _note_read(actor, client, now)
    return Injury.objects.filter(client=client)


def read_injury(*, actor: Actor, client_uid: uuid.UUID, injury_uid: uuid.UUID, now: datetime) -> Injury:
    """One entry of it. Raises NotFoundError."""
    injury = injury_of(actor, client_uid, injury_uid)
    _note_read(actor, injury.client, now)
    return injury


def injury_of(actor: Actor, client_uid: uuid.UUID, injury_uid: uuid.UUID) -> Injury:
    """The entry, if it is this client's and the actor may see them. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    found = Injury.objects.select_related("client").filter(client=client, uid=injury_uid).first()
    if found is None:
        raise NotFoundError("There is no such injury.")
    return found


def _check(injury: Injury, today: date) -> None:
    check_site(joint=injury.joint, side=injury.side, other_site=injury.other_site)
    if injury.onset_on is not None and injury.onset_on > today:
        raise InvalidError.at("onset_on", "in_future", "The onset lies in the future.")


def _note_read(actor: Actor, client: Client, now: datetime) -> None:
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="injury", now=now)


def _audit(actor: Actor, injury: Injury, action: str, now: datetime, fields: list[str] | None = None) -> None:
    record_change(
        actor=actor,
        practice_id=injury.practice_id,
        subject_key=injury.client.audit_key,
        action=action,
        record_kind="injury",
        record_id=str(injury.uid),
        now=now,
        detail={"fields": fields} if fields else None,
    )
