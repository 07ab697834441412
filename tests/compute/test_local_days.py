from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.local_days import (
    first_valid_instant,
    local_date_of,
    local_day_bounds,
)
from tests.compute.published_checks.records import FIXTURE

zones = st.sampled_from(
    [
        "Europe/Berlin",
        "America/New_York",
        "Australia/Lord_Howe",
        "Asia/Kolkata",
        "Africa/Cairo",
        "Pacific/Apia",
    ]
)
days = st.dates(date(2012, 1, 1), date(2035, 12, 31))


def test_the_reference_says_where_it_comes_from():
    assert FIXTURE.read_text().startswith("# provenance:")


def test_an_ordinary_hour_is_that_hour():
    assert first_valid_instant("Europe/Berlin", date(2025, 6, 1), 3) == datetime(2025, 6, 1, 1, tzinfo=UTC)


def test_an_instant_has_the_date_of_its_zone():
    instant = datetime(2025, 6, 30, 23, tzinfo=UTC)
    assert local_date_of(instant, "America/New_York") == date(2025, 6, 30)
    assert local_date_of(instant, "Asia/Kolkata") == date(2025, 7, 1)


@given(zones, days)
def test_a_local_day_holds_its_own_date_and_no_other(zone, day):
    bounds = local_day_bounds(zone, day)
    second = timedelta(seconds=1)
    assert local_date_of(bounds.starts_at, zone) == local_date_of(bounds.ends_at - second, zone) == day
    assert local_date_of(bounds.starts_at - second, zone) < day < local_date_of(bounds.ends_at, zone)


@given(zones, days)
def test_local_days_follow_each_other_without_a_gap(zone, day):
    next_day = local_day_bounds(zone, day + timedelta(days=1))
    assert local_day_bounds(zone, day).ends_at == next_day.starts_at


@given(zones, days, st.integers(0, 22))
def test_a_later_hour_is_no_earlier_instant(zone, day, hour):
    assert first_valid_instant(zone, day, hour) <= first_valid_instant(zone, day, hour + 1)


@pytest.mark.parametrize("zone", ["Europe/Atlantis", "", "../etc/passwd", "Europe"])
def test_an_unknown_zone_is_refused(zone):
    with pytest.raises(ValueError, match="zone must be the name of an IANA time zone, got"):
        local_day_bounds(zone, date(2025, 1, 1))


@pytest.mark.parametrize("hour", [-1, 24])
def test_an_hour_outside_the_day_is_refused(hour):
    with pytest.raises(ValueError, match=f"hour must lie in 0 to 23, got {hour}"):
        first_valid_instant("Europe/Berlin", date(2025, 1, 1), hour)


def test_an_instant_without_offset_is_refused():
    with pytest.raises(ValueError, match="instant must have an offset from UTC, got 2025-01-01T00:00:00"):
        local_date_of(datetime(2025, 1, 1), "Europe/Berlin")  # noqa: DTZ001 - the fault under test
