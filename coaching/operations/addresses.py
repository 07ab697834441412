"""E-mail addresses as accounts know them."""

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from coaching.errors import FieldFault

MAX_EMAIL_CHARACTERS = 254


def email_faults(email: str, *, field: str = "email") -> tuple[FieldFault, ...]:
    """What is wrong with an address; ASCII only, so that "the same without case" means one thing."""
    try:
        validate_email(email)
    except ValidationError:
        is_fine = False
    else:
        is_fine = email.isascii() and len(email) <= MAX_EMAIL_CHARACTERS
    if is_fine:
        return ()
    return (FieldFault((field,), "bad_email", "Give an e-mail address like name@example.org."),)
