"""A client's own record: made, edited, archived, handed over."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypedDict

from django.db import transaction

from coaching.errors import FieldFault, ForbiddenError, InvalidError
from coaching.models import (
    Actor,
    Alert,
    ChangeKind,
    Client,
    LoadUnit,
    Membership,
    Practice,
    ProgressionRule,
    TrainingStatus,
)
from coaching.models.client import ClientQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.changes import Changed, note_changes, tell_anew
from coaching.operations.places import emergency_text_of, place_faults
from coaching.operations.versions import Kept, check_version, looking_twice, twin_of
from coaching.reads.clients import client_for, clients_for, local_today
from coaching.reads.memberships import own_membership

ADULT_AT_YEARS = 18
OWN_FIELDS = frozenset({"load_unit"})  # what a client sets in their own record


@dataclass(frozen=True, slots=True, kw_only=True)
class ClientContent:
    """A new client as a coach describes them; what is empty follows the practice."""

    name: str
    zone: str = ""
    country: str = ""
    emergency_text: str = ""
    birth_on: date | None = None
    guardian: str = ""
    emergency_contact: str = ""
    training_status: str = TrainingStatus.NOVICE
    training_status_on: date | None = None
    progression_rule: str = ProgressionRule.DOUBLE_PROGRESSION
    load_unit: str = LoadUnit.KG
    private_note: str = ""
    coach_uid: uuid.UUID | None = None
    own_uid: uuid.UUID | None = None


class ClientChanges(TypedDict, total=False):
    """A merge patch: a key that is absent leaves its field as it is, which a dataclass cannot say."""

    name: str
    zone: str
    country: str
    emergency_text: str
    birth_on: date | None
    guardian: str
    emergency_contact: str
    training_status: str
    training_status_on: date | None
    progression_rule: str
    load_unit: str
    private_note: str
    coach: uuid.UUID
    archived: bool


@looking_twice
@transaction.atomic
def create_client(*, actor: Actor, content: ClientContent, now: datetime) -> Kept[Client]:
    """Add a client to the practice. Raises ForbiddenError, InvalidError.

    Safe to repeat with an id of one's own; without, two clients may bear the same name. Raises ConflictError
    for other content under the id.
    """
    if not actor.is_coach:
        raise ForbiddenError("Only a coach adds a client.")
    practice = Practice.objects.get(id=actor.practice_id)
    country = content.country or practice.country
    is_elsewhere = country != practice.country
    client = Client(
        uid=content.own_uid or uuid.uuid4(),
        practice=practice,
        coach=_coach_of_new(actor, content.coach_uid),
        name=content.name,
        zone=content.zone or practice.zone,
        country=country,
        emergency_text=content.emergency_text
        or (emergency_text_of(country) if is_elsewhere else practice.emergency_text),
        birth_on=content.birth_on,
        guardian=content.guardian,
        emergency_contact=content.emergency_contact,
        training_status=content.training_status,
        training_status_on=content.training_status_on,
        progression_rule=content.progression_rule,
        load_unit=content.load_unit,
        private_note=content.private_note,
        created_at=now,
    )
    _check(client, now)
    standing = twin_of(client, visible=Client.objects.visible_to(actor)) if content.own_uid else None
    if standing is not None:
        return Kept(standing, is_new=False)
    client.save(force_insert=True)
    _audit(actor, client, "create", now)
    return Kept(client, is_new=True)


@transaction.atomic
def update_client(
    *, actor: Actor, client_uid: uuid.UUID, expected_version: int, changes: ClientChanges, now: datetime
) -> Client:
    """Edit, archive or hand over a client; clients set nothing but the unit of their loads.

    Raises NotFoundError, ForbiddenError, InvalidError, StaleVersionError.
    """
    seen = client_for(actor, client_uid)
    if not actor.is_coach and not (changes and changes.keys() <= OWN_FIELDS):
        raise ForbiddenError("Only a coach edits this record, apart from load_unit.")
    if "coach" in changes and not actor.is_owner:
        raise ForbiddenError("Only the owner hands a client over.")
    client = (
        Client.objects.select_for_update(of=("self",))
        .select_related("practice", "coach__account")
        .get(id=seen.id)
    )
    check_version(client, expected_version)
    _apply(actor, client, changes, now)
    _check(client, now, only=changes)
    client.version += 1
    client.save()
    _audit(actor, client, "update", now, fields=changes)
    _tell_what_follows(client, changes, now)
    return client


def read_client(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> Client:
    """One client's record. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="client", now=now)
    return client


def read_clients(*, actor: Actor, is_archived: bool, now: datetime) -> ClientQuerySet:
    """The list of those the actor may see; everyone on it counts as read."""
    rows = clients_for(actor, is_archived=is_archived)
    keys = list(rows.values_list("audit_key", flat=True))
    record_reads(actor=actor, subject_keys=keys, record_kind="client_list", now=now)
    return rows


def _apply(actor: Actor, client: Client, changes: ClientChanges, now: datetime) -> None:
    for field, value in changes.items():
        if field == "coach":
            client.coach = member_of(actor, changes["coach"], field="coach")
        elif field == "archived":
            client.archived_at = (client.archived_at or now) if value else None
        else:
            setattr(client, field, value)
    if not client.emergency_text:
        client.emergency_text = client.practice.emergency_text


def _tell_what_follows(client: Client, changes: ClientChanges, now: datetime) -> None:
    """A new coach gets all there is; alerts say whom to call in an emergency."""
    if "coach" in changes:
        tell_anew(client_ids=[client.id])
    if "emergency_text" in changes:
        alerts = Alert.objects.filter(client=client).values_list("uid", flat=True)
        changed = [Changed(client.id, ChangeKind.ALERT, uid) for uid in alerts]
        note_changes(practice_id=client.practice_id, changed=changed, now=now)


def _coach_of_new(actor: Actor, coach_uid: uuid.UUID | None) -> Membership:
    own = own_membership(actor)
    if coach_uid is None or coach_uid == own.uid:
        return own
    if not actor.is_owner:
        raise ForbiddenError("Only the owner gives a client to another coach.")
    return member_of(actor, coach_uid, field="coach")


def member_of(actor: Actor, membership_uid: uuid.UUID, *, field: str) -> Membership:
    """A current coach or owner of the actor's practice. Raises InvalidError at `field`."""
    current = Membership.objects.filter(practice_id=actor.practice_id, left_at__isnull=True)
    # Locked, so that nobody leaves while a client is given to them.
    locked = current.select_for_update(of=("self",)).select_related("account")
    found = locked.filter(uid=membership_uid).first()
    if found is None:
        raise InvalidError.at(field, "unknown_member", "There is no such member of the practice.")
    return found


def _check(client: Client, now: datetime, only: Iterable[str] | None = None) -> None:
    """Raises InvalidError; an edit is judged by what it touches, so that old records stay editable."""
    faults = place_faults(zone=client.zone, country=client.country)
    if not faults:
        faults = _person_faults(client, local_today(client, now))
    touched = tuple(fault for fault in faults if only is None or _is_touched(fault, only))
    if touched:
        raise InvalidError("The client's record cannot be kept like this.", touched)


def _is_touched(fault: FieldFault, changed: Iterable[str]) -> bool:
    field = str(fault.path[0])
    return field in changed or (field == "guardian" and "birth_on" in changed)


def _person_faults(client: Client, today: date) -> tuple[FieldFault, ...]:
    faults = []
    if client.birth_on is not None and client.birth_on > today:
        faults.append(FieldFault(("birth_on",), "in_future", "The birth date lies in the future."))
    elif client.birth_on is not None and _is_minor(client.birth_on, today) and not client.guardian:
        faults.append(FieldFault(("guardian",), "required", "A minor needs a guardian."))
    if client.training_status_on is not None and client.training_status_on > today:
        faults.append(FieldFault(("training_status_on",), "in_future", "This date lies in the future."))
    return tuple(faults)


def _is_minor(birth_on: date, today: date) -> bool:
    years = today.year - birth_on.year - ((today.month, today.day) < (birth_on.month, birth_on.day))
    return years < ADULT_AT_YEARS


def _audit(actor: Actor, client: Client, action: str, now: datetime, fields: Iterable[str] = ()) -> None:
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action=action,
        record_kind="client",
        record_id=str(client.uid),
        now=now,
        detail={"fields": sorted(fields)} if fields else None,
    )
