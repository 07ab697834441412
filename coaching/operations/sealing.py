"""Small secrets that the service must be able to read again, closed with its own secret."""

import base64
import hashlib

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings

PURPOSE = b"forbear sealing 1\0"


def seal(text: str) -> str:
    """`text` encrypted and signed under the current secret."""
    return _box().encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """What was sealed under the current secret or an earlier one. Raises SealError."""
    try:
        return _box().decrypt(sealed.encode()).decode()
    except InvalidToken:
        raise SealError from None


class SealError(Exception):
    """Sealed under a secret that the service no longer has."""


def _box() -> MultiFernet:
    return MultiFernet(
        [Fernet(_key(secret)) for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]
    )


def _key(secret: str) -> bytes:
    return base64.urlsafe_b64encode(hashlib.sha256(PURPOSE + secret.encode()).digest())
