"""A licensed clinician's decision as a coach records it; the service itself never clears anybody."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from coaching.compute.symptoms import SYMPTOMS
from coaching.errors import FieldFault, ForbiddenError, InvalidError
from coaching.models import Actor, Clearance
from coaching.models.base import ListQuerySet
from coaching.operations.alerts import close_cleared_red_flags
from coaching.operations.audit import record_change, record_reads
from coaching.operations.sites import check_site
from coaching.operations.standing import check_may_store
from coaching.operations.versions import Kept, looking_twice, twin_of
from coaching.reads.clients import client_for, local_today


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearanceContent:
    """What the clinician decided; without joint and side it is about no site in particular."""

    joint: str = ""
    side: str = ""
    clinician_name: str
    clinician_profession: str
    cleared_on: date
    flags: tuple[str, ...]
    restrictions: str = ""
    valid_until_on: date | None = None


@looking_twice
@transaction.atomic
def record_clearance(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    content: ClearanceContent,
    now: datetime,
    own_uid: uuid.UUID | None = None,
) -> Kept[Clearance]:
    """Keep a clearance, and end the red flags it covers unless it has run out already.

    Safe to repeat with an id of one's own; without, each call is a record of its own. Raises NotFoundError,
    ForbiddenError, InvalidError, ConsentMissingError, GoneError, ConflictError.
    """
    client = client_for(actor, client_uid)
    if not actor.is_coach:
        raise ForbiddenError("Only a coach records a clearance.")
    check_may_store(client)
    today = local_today(client, now)
    _check(content, today)
    clearance = Clearance(
        uid=own_uid or uuid.uuid4(),
        practice_id=client.practice_id,
        client=client,
        joint=content.joint,
        side=content.side,
        clinician_name=content.clinician_name,
        clinician_profession=content.clinician_profession,
        cleared_on=content.cleared_on,
        flags=list(content.flags),
        restrictions=content.restrictions,
        valid_until_on=content.valid_until_on,
        recorded_by_id=actor.account_id,
        recorded_at=now,
    )
    standing = twin_of(clearance, visible=Clearance.objects.filter(client=client)) if own_uid else None
    if standing is not None:
        return Kept(standing, is_new=False)
    clearance.save(force_insert=True)
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="create",
        record_kind="clearance",
        record_id=str(clearance.uid),
        now=now,
    )
    if content.valid_until_on is None or content.valid_until_on >= today:
        close_cleared_red_flags(clearance=clearance, now=now)
    return Kept(clearance, is_new=True)


def read_clearances(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[Clearance]:
    """The clearances of a client. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="clearance", now=now)
    return Clearance.objects.filter(client=client).select_related("recorded_by")


def _check(content: ClearanceContent, today: date) -> None:
    faults = [
        FieldFault(("flags", index), "unknown_flag", f"{code} is not the code of a symptom.")
        for index, code in enumerate(content.flags)
        if code not in SYMPTOMS
    ]
    if bool(content.joint) != bool(content.side):
        faults.append(FieldFault(("side",), "joint_and_side", "Name joint and side, or neither."))
    if content.cleared_on > today:
        faults.append(FieldFault(("cleared_on",), "in_future", "This date lies in the future."))
    if content.valid_until_on is not None and content.valid_until_on < content.cleared_on:
        faults.append(FieldFault(("valid_until_on",), "before_start", "It runs out before it was given."))
    if faults:
        raise InvalidError("The clearance cannot be kept like this.", tuple(faults))
    if content.joint:
        check_site(joint=content.joint, side=content.side)
