import csv
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.local_days import (
    first_valid_instant,
    hours_in_local_day,
    local_date_of,
    local_day_bounds,
)

FIXTURE = Path(__file__).parents[2] / "fixtures" / "local_day_length.csv"

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


def known_days():
    lines = [line for line in FIXTURE.read_text().splitlines() if not line.startswith("#")]
    return [(row["zone"], row["local_date"], float(row["hours_in_day"])) for row in csv.DictReader(lines)]


@pytest.mark.parametrize(("zone", "local_date", "hours"), known_days())
def test_a_local_day_has_its_known_length(zone, local_date, hours):
    assert hours_in_local_day(zone, date.fromisoformat(local_date)) == hours


def test_the_reference_says_where_it_comes_from():
    assert FIXTURE.read_text().startswith("# provenance:")


# Samoa went from 29 to 31 December 2011 (tz database).
def test_a_date_that_the_zone_left_out_has_no_hours():
    assert hours_in_local_day("Pacific/Apia", date(2011, 12, 30)) == 0


def test_an_ordinary_hour_is_that_hour():
    assert first_valid_instant("Europe/Berlin", date(2025, 6, 1), 3) == datetime(2025, 6, 1, 1, tzinfo=UTC)


# Berlin skips 02:00-03:00 on 30 March 2025 and repeats it on 26 October 2025 (EU summer time).
def test_a_skipped_hour_gives_the_first_instant_after_the_skip():
    assert first_valid_instant("Europe/Berlin", date(2025, 3, 30), 2) == datetime(2025, 3, 30, 1, tzinfo=UTC)


def test_a_doubled_hour_gives_its_first():
    assert first_valid_instant("Europe/Berlin", date(2025, 10, 26), 2) == datetime(
        2025, 10, 26, 0, tzinfo=UTC
    )


# Samoa skipped all of 30 December 2011, from 10:00 UTC (tz database).
def test_an_hour_within_a_long_skip_gives_its_end():
    assert first_valid_instant("Pacific/Apia", date(2011, 12, 30), 15) == datetime(
        2011, 12, 30, 10, tzinfo=UTC
    )


# Lord Howe moves its clock by half an hour: 02:00 becomes 02:30 on 5 October 2025.
def test_a_skip_of_half_an_hour_ends_at_the_half_hour():
    found = first_valid_instant("Australia/Lord_Howe", date(2025, 10, 5), 2)
    assert found.astimezone(timezone(timedelta(hours=11))).isoformat() == "2025-10-05T02:30:00+11:00"


# Cairo skips its midnight of 25 April 2025.
def test_a_day_without_midnight_starts_at_the_end_of_the_skip():
    bounds = local_day_bounds("Africa/Cairo", date(2025, 4, 25))
    assert bounds.starts_at == datetime(2025, 4, 24, 22, tzinfo=UTC)


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
