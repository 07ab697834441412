"""A practice begins with its owner's invitation."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from coaching.errors import FieldFault, InvalidError
from coaching.models import Practice, Role
from coaching.models.scope import across_practices
from coaching.operations.addresses import email_faults
from coaching.operations.audit import record_change
from coaching.operations.invitations import NewInvitation, write_invitation
from coaching.operations.places import emergency_text_of, place_faults

MAX_NAME_CHARACTERS = 120
MAX_EMERGENCY_TEXT_CHARACTERS = 200


@dataclass(frozen=True, slots=True)
class NewPractice:
    practice: Practice
    invitation: NewInvitation


@across_practices("it makes one")
@transaction.atomic
def create_practice(
    *, name: str, zone: str, country: str, owner_email: str, now: datetime, emergency_text: str = ""
) -> NewPractice:
    """A practice, and the invitation that lets its owner in. Raises InvalidError.

    Not safe to repeat: two practices may bear the same name, so each call makes one.
    """
    name, emergency_text = name.strip(), emergency_text.strip()
    faults = (
        *_text_faults("name", name, MAX_NAME_CHARACTERS, is_needed=True),
        *place_faults(zone=zone, country=country),
        *email_faults(owner_email, field="owner_email"),
        *_text_faults("emergency_text", emergency_text, MAX_EMERGENCY_TEXT_CHARACTERS, is_needed=False),
    )
    if faults:
        raise InvalidError("The practice cannot be made like this.", faults)
    practice = Practice.objects.create(
        name=name,
        zone=zone,
        country=country,
        emergency_text=emergency_text or emergency_text_of(country),
        created_at=now,
    )
    record_change(
        actor=None,
        practice_id=practice.id,
        subject_key=None,
        action="create",
        record_kind="practice",
        record_id=str(practice.uid),
        now=now,
    )
    invitation = write_invitation(
        actor=None, practice_id=practice.id, role=Role.OWNER, email=owner_email, client=None, now=now
    )
    return NewPractice(practice, invitation)


def _text_faults(field: str, text: str, max_length: int, *, is_needed: bool) -> tuple[FieldFault, ...]:
    if is_needed and not text:
        return (FieldFault((field,), "blank", f"The {field} is missing."),)
    if len(text) > max_length or (text and not text.isprintable()):
        detail = f"The {field.replace('_', ' ')} is one line of at most {max_length} characters."
        return (FieldFault((field,), "bad_text", detail),)
    return ()
