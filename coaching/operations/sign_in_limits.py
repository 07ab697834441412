"""How many failed sign-ins are too many: per account and per address, counted before any password is hashed.

A failure is counted in the row of its second; the rows of the last 15 minutes are summed. A caller adds
itself first and looks at the sum after, so of any number at once only as many as the limit go on. Keys are
keyed digests: no e-mail and no address stands in the table.

A device that was signed in before is counted by itself: strangers who guess at an account use up the
account's tries, and lock out neither its holder's devices nor a reset by mail.
"""

import ipaddress
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F, QuerySet, Sum
from django.utils.crypto import salted_hmac

from coaching.errors import TooManyAttemptsError
from coaching.models import SignInFailures

WINDOW = timedelta(minutes=15)
FAILURES_PER_ACCOUNT = 10
FAILURES_PER_ADDRESS = 100
REQUESTS_PER_ADDRESS = 20
KEPT_FOR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Attempt:
    """One try, counted as a failure until it is taken back."""

    keys: tuple[str, ...]
    second: datetime


def count_attempt(*, email: str, address: str, now: datetime, known_device: str | None = None) -> Attempt:
    """Count a failure in advance. Raises TooManyAttemptsError, and then counts nothing.

    `known_device` names a device that the account was signed in on before. Never call it inside a
    transaction that may be rolled back.
    """
    own = _account_key(email) if known_device is None else _key("device", known_device)
    return _count_all(
        ((_key("address", _network(address)), FAILURES_PER_ADDRESS), (own, FAILURES_PER_ACCOUNT)), now
    )


def count_request(*, address: str, now: datetime) -> None:
    """Count one request for a reset link. Raises TooManyAttemptsError."""
    _count_all(((_key("reset-address", _network(address)), REQUESTS_PER_ADDRESS),), now)


def note_request_for_nobody(*, email: str, spell_began_at: datetime) -> None:
    """Write a row that counts nothing, where a known address would have got the row of its mail.

    A caller could tell the two apart by the time that writing takes. Once in a spell, as a mail is.
    """
    row = SignInFailures(key=_key("reset-nobody", email.strip().lower()), window_started_at=spell_began_at)
    SignInFailures.objects.bulk_create([row], ignore_conflicts=True)


def forget_failures(*, email: str) -> None:
    """The account's holder has proven themselves in another way."""
    SignInFailures.objects.filter(key=_account_key(email)).delete()


def _count_all(limits: tuple[tuple[str, int], ...], now: datetime) -> Attempt:
    second = now.replace(microsecond=0)
    counted: list[str] = []
    for key, limit in limits:
        if not _count(key, second, limit):
            take_back(Attempt(tuple(counted), second))
            raise TooManyAttemptsError("Too many tries; try again later.", _wait_s(key, second))
        counted.append(key)
    return Attempt(tuple(counted), second)


def take_back(attempt: Attempt) -> None:
    """The attempt was no failure after all."""
    for key in attempt.keys:
        _row(key, attempt.second).update(failures=F("failures") - 1)


def _row(key: str, second: datetime) -> QuerySet[SignInFailures]:
    return SignInFailures.objects.filter(key=key, window_started_at=second)


def _rows_of_window(key: str, second: datetime) -> QuerySet[SignInFailures]:
    return SignInFailures.objects.filter(key=key, window_started_at__gt=second - WINDOW)


def _count(key: str, second: datetime, limit: int) -> bool:
    """Add one to the key; False, with nothing added, where that would pass the limit."""
    if _sum(_rows_of_window(key, second)) >= limit:
        return False
    _make_row(key, second)
    with transaction.atomic():
        _row(key, second).update(failures=F("failures") + 1)
        position = _sum(_row(key, second))
    # Read after the commit: of two attempts in different seconds the later reader sees both.
    others = _sum(_rows_of_window(key, second).exclude(window_started_at=second))
    if position + others <= limit:
        return True
    take_back(Attempt((key,), second))
    return False


def _make_row(key: str, second: datetime) -> None:
    SignInFailures.objects.filter(window_started_at__lt=second - KEPT_FOR).delete()
    SignInFailures.objects.bulk_create(
        [SignInFailures(key=key, window_started_at=second)], ignore_conflicts=True
    )


def _sum(rows: QuerySet[SignInFailures]) -> int:
    return int(rows.aggregate(total=Sum("failures", default=0))["total"])


def _wait_s(key: str, second: datetime) -> int:
    oldest = _rows_of_window(key, second).filter(failures__gt=0).order_by("window_started_at").first()
    if oldest is None:
        return 1
    return max(1, int((oldest.window_started_at + WINDOW - second).total_seconds()))


def _account_key(email: str) -> str:
    return _key("account", email.strip().lower())


def _key(kind: str, value: str) -> str:
    return f"{kind}:{salted_hmac('sign-in-failures', value, algorithm='sha256').hexdigest()}"


def _network(address: str) -> str:
    """An IPv6 household holds a /64, so that is what counts as one address."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        if parsed.ipv4_mapped is not None:
            return str(parsed.ipv4_mapped)
        return str(ipaddress.ip_network((int(parsed), 64), strict=False))
    return str(parsed)
