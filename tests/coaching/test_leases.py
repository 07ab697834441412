from datetime import UTC, datetime, timedelta

import pytest

from coaching.models import Lease
from coaching.operations.leases import release_lease, take_lease

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
LASTS = timedelta(seconds=45)


def take(holder: str, at: datetime = NOW) -> bool:
    return take_lease(name="ticker", holder=holder, now=at, lasts=LASTS)


def test_a_free_lease_is_taken():
    assert take("one")
    assert Lease.objects.get().until_at == NOW + LASTS


def test_a_held_lease_is_refused_to_another():
    take("one")
    assert not take("two", NOW + LASTS - timedelta(seconds=1))
    assert Lease.objects.get().holder == "one"


def test_its_holder_renews_it():
    take("one")
    assert take("one", NOW + timedelta(seconds=10))
    assert Lease.objects.get().until_at == NOW + timedelta(seconds=10) + LASTS


def test_a_lease_that_has_run_out_goes_to_the_next():
    take("one")
    assert take("two", NOW + LASTS)


def test_a_released_lease_is_free_at_once():
    take("one")
    release_lease(name="ticker", holder="one")
    assert take("two")


def test_only_its_holder_can_release_it():
    take("one")
    release_lease(name="ticker", holder="two")
    assert not take("two")


def test_leases_of_other_names_do_not_matter():
    take("one")
    assert take_lease(name="another", holder="two", now=NOW, lasts=LASTS)
