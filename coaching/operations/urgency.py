"""Recording that a clinician has reviewed how urgent each red-flag symptom is."""

from datetime import date, datetime

from django.db import transaction

from coaching.compute import red_flags
from coaching.errors import FieldFault, InvalidError
from coaching.models import UrgencySignOff
from coaching.operations.places import place_faults


@transaction.atomic
def record_sign_off(
    *, clinician_name: str, clinician_profession: str, signed_on: date, country: str, now: datetime
) -> UrgencySignOff:
    """Record a review of the table as it stands in this version. Raises InvalidError. Safe to repeat."""
    texts = {"name": clinician_name.strip(), "profession": clinician_profession.strip()}
    empty = tuple(FieldFault((field,), "required", "Say it.") for field, text in texts.items() if not text)
    late = (FieldFault(("on",), "in_the_future", "In the future."),) if signed_on > now.date() else ()
    faults = (*empty, *late, *place_faults(country=country))
    if faults:
        raise InvalidError("The review cannot be recorded like this.", faults)
    row, _ = UrgencySignOff.objects.get_or_create(
        clinician_name=texts["name"][:120],
        clinician_profession=texts["profession"][:80],
        signed_on=signed_on,
        country=country,
        table_version=red_flags.VERSION,
        defaults={"recorded_at": now},
    )
    return row
