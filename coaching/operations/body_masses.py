"""Body mass by day: needed for lifts where the body is part of the load."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import QuerySet

from coaching.errors import InvalidError
from coaching.models import Actor, BodyMass
from coaching.operations.audit import record_change, record_reads
from coaching.operations.standing import check_may_store
from coaching.reads.clients import client_for, local_today


@dataclass(frozen=True, slots=True)
class RecordedBodyMass:
    body_mass: BodyMass
    is_new: bool


@transaction.atomic
def record_body_mass(
    *, actor: Actor, client_uid: uuid.UUID, measured_on: date, body_mass_kg: float, now: datetime
) -> RecordedBodyMass:
    """One body mass a day; a later value for the same day corrects it. Safe to repeat.

    Raises NotFoundError, ConsentMissingError, GoneError, InvalidError.
    """
    client = client_for(actor, client_uid)
    check_may_store(client)
    if measured_on > local_today(client, now):
        raise InvalidError.at("measured_on", "in_future", "This date lies in the future.")
    row, is_new = BodyMass.objects.update_or_create(
        client=client, measured_on=measured_on, defaults={"body_mass_kg": body_mass_kg}
    )
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="create" if is_new else "update",
        record_kind="body_mass",
        record_id=measured_on.isoformat(),
        now=now,
    )
    return RecordedBodyMass(row, is_new)


def read_body_masses(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> QuerySet[BodyMass]:
    """Every body mass of a client. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="body_mass", now=now)
    return BodyMass.objects.filter(client=client)
