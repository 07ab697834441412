"""Starting again after a lay-off."""

import math

import pytest

from coaching.compute.lay_off import layoff_start, return_volumes


@pytest.mark.parametrize(
    ("days", "load", "sets"),
    [(0, 1, 1), (7, 1, 1), (8, 0.9, 1), (14, 0.9, 1), (15, 0.8, 0.7), (28, 0.8, 0.7), (29, 0.7, 0.5)],
)  # fmt: skip
def test_the_longer_the_lay_off_the_lower_the_start(days: int, load: float, sets: float):
    start = layoff_start(days)
    assert (start.load_share, start.sets_share) == (load, sets)


def test_a_week_is_no_lay_off():
    assert not layoff_start(7).is_lay_off
    assert layoff_start(8).is_lay_off


def test_after_eight_weeks_the_maximum_is_found_again():
    assert not layoff_start(56).is_one_rm_stale
    assert layoff_start(57).is_one_rm_stale


def test_sets_are_rounded_down_to_one_at_least():
    assert [layoff_start(20).sets_of(sets) for sets in (1, 2, 3, 4, 10)] == [1, 1, 2, 2, 7]


def test_days_before_the_last_exposure_are_refused():
    with pytest.raises(ValueError, match="days_since must be 0 or more, got -1"):
        layoff_start(-1)


@pytest.mark.parametrize("volume", [-1, math.nan, math.inf])
def test_a_volume_that_is_none_is_refused(volume: float):
    with pytest.raises(ValueError, match="highest_per_week must be a finite number of 0 or more, got"):
        return_volumes(volume)


def test_a_return_takes_two_weeks_or_four():
    with pytest.raises(ValueError, match="weeks must be 2 or 4, got 3"):
        return_volumes(1000, 3)


def test_from_nothing_comes_nothing():
    assert return_volumes(0) == (0, 0, 0, 0)
