"""A named lease: at most one holder at a time, and a dead holder's claim runs out by itself."""

from datetime import datetime, timedelta

from django.db.models import Q

from coaching.models import Lease


def take_lease(*, name: str, holder: str, now: datetime, lasts: timedelta) -> bool:
    """Take, or renew, the lease; False while another holder's has not run out. Safe to repeat.

    One that runs on for longer than leases last was taken by a clock that was ahead, and is free.
    """
    is_free = Q(holder=holder) | Q(until_at__lte=now) | Q(until_at__gt=now + lasts)
    if Lease.objects.filter(is_free, name=name).update(holder=holder, until_at=now + lasts):
        return True
    _, is_new = Lease.objects.get_or_create(name=name, defaults={"holder": holder, "until_at": now + lasts})
    return is_new


def release_lease(*, name: str, holder: str) -> None:
    """Give the lease back, if it is `holder`'s. Safe to repeat."""
    Lease.objects.filter(name=name, holder=holder).delete()


def holder_of(*, name: str) -> str | None:
    return Lease.objects.filter(name=name).values_list("holder", flat=True).first()


def is_leased(*, name: str, now: datetime) -> bool:
    """Whether somebody holds the lease."""
    return Lease.objects.filter(name=name, until_at__gt=now).exists()
