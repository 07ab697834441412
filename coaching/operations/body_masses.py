"""Body mass by day: needed for lifts where the body is part of the load."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from coaching.errors import InvalidError, NotFoundError
from coaching.models import Actor, BodyMass, Client
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.standing import check_may_store
from coaching.operations.versions import check_may_replace, looking_twice
from coaching.reads.clients import client_for, local_today


@dataclass(frozen=True, slots=True)
class RecordedBodyMass:
    body_mass: BodyMass
    is_new: bool


@looking_twice
@transaction.atomic
def record_body_mass(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    measured_on: date,
    body_mass_kg: float,
    now: datetime,
    expected_version: int | None = None,
) -> RecordedBodyMass:
    """One body mass a day, corrected by naming its version. Safe to repeat.

    Raises NotFoundError, ConsentMissingError, GoneError, InvalidError, ConflictError, StaleVersionError.
    """
    client = client_for(actor, client_uid)
    check_may_store(client)
    if measured_on > local_today(client, now):
        raise InvalidError.at("measured_on", "in_future", "This date lies in the future.")
    row = BodyMass.objects.select_for_update().filter(client=client, measured_on=measured_on).first()
    if row is None:
        if expected_version is not None:
            raise NotFoundError("There is no body mass of this day to correct.")
        row = BodyMass.objects.create(client=client, measured_on=measured_on, body_mass_kg=body_mass_kg)
        _audit(actor, client, row, "create", now)
        return RecordedBodyMass(row, is_new=True)
    if row.body_mass_kg != body_mass_kg:
        check_may_replace(row, expected_version)
        row.body_mass_kg = body_mass_kg
        row.version += 1
        row.save(update_fields=["body_mass_kg", "version"])
        _audit(actor, client, row, "update", now)
    return RecordedBodyMass(row, is_new=False)


def _audit(actor: Actor, client: Client, row: BodyMass, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action=action,
        record_kind="body_mass",
        record_id=row.measured_on.isoformat(),
        now=now,
    )


def read_body_mass(*, actor: Actor, client_uid: uuid.UUID, measured_on: date, now: datetime) -> BodyMass:
    """The body mass of one day. Raises NotFoundError."""
    found = read_body_masses(actor=actor, client_uid=client_uid, now=now)
    row = found.filter(measured_on=measured_on).first()
    if row is None:
        raise NotFoundError("There is no body mass of this day.")
    return row


def read_body_masses(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[BodyMass]:
    """Every body mass of a client. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="body_mass", now=now)
    return BodyMass.objects.filter(client=client)
