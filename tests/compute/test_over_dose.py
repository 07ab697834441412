"""Guarded sites that did well more joint reps than were prescribed."""

import numpy as np
import pytest

from coaching.compute.over_dose import OverDoses, assess_over_dose


def assess(completed: float, prescribed: float, is_guarded: bool = True) -> OverDoses:
    days = np.ones((1, 14)) / 14
    return assess_over_dose(completed * days, prescribed * days, np.array([is_guarded]))


def test_thirty_per_cent_over_is_an_over_dose():
    assert assess(130, 100).is_over_dose == [True]


def test_less_than_thirty_per_cent_over_is_not():
    assert assess(129, 100).is_over_dose == [False]


def test_a_site_that_is_not_guarded_is_not_watched():
    assert assess(200, 100, is_guarded=False).is_over_dose == [False]


def test_a_few_reps_over_a_tiny_prescription_do_not_count():
    assert assess(20, 10).is_over_dose == [False]


def test_reps_without_a_prescription_count_and_have_no_ratio():
    found = assess(40, 0)
    assert (found.is_over_dose[0], np.isnan(found.ratio[0])) == (True, True)


def test_days_before_the_window_do_not_count():
    completed = np.zeros((1, 28))
    completed[0, :14] = 50
    assert assess_over_dose(completed, np.zeros((1, 28)), np.array([True])).completed_joint_reps == [0]


def test_shapes_that_differ_are_refused():
    with pytest.raises(ValueError, match="prescribed_joint_reps must have the shape of completed_joint_reps"):
        assess_over_dose(np.ones((1, 14)), np.ones((1, 13)), np.array([True]))


def test_a_guard_must_be_told_for_every_series():
    with pytest.raises(ValueError, match=r"is_guarded must have 1 entries, got \(2,\)"):
        assess_over_dose(np.ones((1, 14)), np.ones((1, 14)), np.array([True, True]))


def test_missing_joint_reps_are_refused():
    with pytest.raises(ValueError, match="prescribed_joint_reps must be 0 or more on every day, got nan"):
        assess_over_dose(np.ones((1, 14)), np.full((1, 14), np.nan), np.array([True]))
