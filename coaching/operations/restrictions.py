"""What a hurt site must not do, from when until when, and who said so."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from coaching.errors import ForbiddenError, InvalidError, NotFoundError
from coaching.models import Actor, ChangeKind, Exercise, Injury, Restriction, RestrictionKind
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.injuries import injury_of
from coaching.operations.standing import check_may_store
from coaching.operations.versions import Kept, check_not_gone, looking_twice, not_there, twin_of
from coaching.reads.catalogue import catalogue_vocabulary, exercise_named


@dataclass(frozen=True, slots=True, kw_only=True)
class RestrictionContent:
    """One of `exercise_code`, `movement_pattern` and `limit` is filled, as the kind asks."""

    kind: str
    exercise_code: str = ""
    movement_pattern: str = ""
    limit: str = ""
    from_on: date
    until_on: date | None = None
    said_by: str


@looking_twice
@transaction.atomic
def add_restriction(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    injury_uid: uuid.UUID,
    content: RestrictionContent,
    now: datetime,
    own_uid: uuid.UUID | None = None,
) -> Kept[Restriction]:
    """Restrict a site's training; safe to repeat with an id of one's own.

    Raises NotFoundError, ForbiddenError, InvalidError, ConsentMissingError, ConflictError, GoneError.
    """
    injury = injury_of(actor, client_uid, injury_uid)
    if not actor.is_coach:
        raise ForbiddenError("Only a coach records a restriction.")
    check_may_store(injury.client)
    _check(content)
    restriction = Restriction(
        uid=own_uid or uuid.uuid4(),
        practice_id=injury.practice_id,
        injury=injury,
        kind=content.kind,
        exercise=_exercise(actor, content),
        movement_pattern=content.movement_pattern,
        limit=content.limit,
        from_on=content.from_on,
        until_on=content.until_on,
        said_by=content.said_by,
    )
    if own_uid is not None:
        check_not_gone(client=injury.client, kind=ChangeKind.RESTRICTION, uids=[own_uid])
        standing = twin_of(restriction, visible=Restriction.objects.filter(injury=injury))
        if standing is not None:
            return Kept(standing, is_new=False)
    restriction.save(force_insert=True)
    _audit(actor, injury, restriction, "create", now)
    return Kept(restriction, is_new=True)


@transaction.atomic
def drop_restriction(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    injury_uid: uuid.UUID,
    restriction_uid: uuid.UUID,
    now: datetime,
) -> None:
    """Take a restriction back; the trail keeps that it was there. Raises NotFoundError, ForbiddenError."""
    injury = injury_of(actor, client_uid, injury_uid)
    found = Restriction.objects.filter(injury=injury, uid=restriction_uid).first()
    if found is None:
        raise not_there(actor, kind=ChangeKind.RESTRICTION, uid=restriction_uid, what="restriction")
    if not actor.is_coach:
        raise ForbiddenError("Only a coach takes a restriction back.")
    _audit(actor, injury, found, "delete", now)
    found.delete()


def read_restrictions(
    *, actor: Actor, client_uid: uuid.UUID, injury_uid: uuid.UUID, now: datetime
) -> ListQuerySet[Restriction]:
    """The restrictions of an injury, past ones included. Raises NotFoundError."""
    injury = injury_of(actor, client_uid, injury_uid)
    record_reads(actor=actor, subject_keys=[injury.client.audit_key], record_kind="restriction", now=now)
    return Restriction.objects.filter(injury=injury).select_related("injury", "exercise")


def _check(content: RestrictionContent) -> None:
    """A restriction that names nothing known would forbid nothing, so a misspelt word is refused."""
    filled = {
        RestrictionKind.AVOID_EXERCISE: ("exercise", content.exercise_code),
        RestrictionKind.AVOID_PATTERN: ("movement_pattern", content.movement_pattern),
        RestrictionKind.LIMIT: ("limit", content.limit),
    }
    for kind, (field, value) in filled.items():
        if (kind == content.kind) != (value != ""):
            raise InvalidError.at(
                field, "kind_and_field", f"Fill {field} with the kind {kind}, and only then."
            )
    patterns = catalogue_vocabulary().movement_patterns
    if content.movement_pattern and content.movement_pattern not in patterns:
        listed = ", ".join(sorted(patterns))
        raise InvalidError.at("movement_pattern", "unknown_word", f"Known patterns are: {listed}.")
    if content.until_on is not None and content.until_on < content.from_on:
        raise InvalidError.at("until_on", "before_start", "The restriction ends before it starts.")


def _exercise(actor: Actor, content: RestrictionContent) -> Exercise | None:
    if not content.exercise_code:
        return None
    try:
        return exercise_named(actor.practice_id, content.exercise_code)
    except NotFoundError:
        raise InvalidError.at("exercise", "unknown_exercise", "There is no such exercise.") from None


def _audit(actor: Actor, injury: Injury, restriction: Restriction, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=injury.practice_id,
        subject_key=injury.client.audit_key,
        action=action,
        record_kind="restriction",
        record_id=str(restriction.uid),
        now=now,
    )
