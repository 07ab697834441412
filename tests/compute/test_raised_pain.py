import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.raised_pain import raised_spell, usual_pain


def spell_hours(reports, usual=2.0, report=-1):
    """Hours of the spell of one of these (hour, pain) reports."""
    hours, pain = np.array(reports, dtype=float).T
    return raised_spell(hours, pain, usual, report).hours


def test_usual_pain_is_the_median_of_the_days_that_have_one():
    assert usual_pain(np.array([1.0, 2.0, np.nan, 3.0, 9.0, 4.0])) == 3


@pytest.mark.parametrize("n_days", [0, 1, 4])
def test_usual_pain_of_fewer_than_five_days_is_not_known(n_days):
    assert math.isnan(usual_pain(np.append(np.full(n_days, 2.0), np.full(9, np.nan))))


def test_usual_pain_off_the_scale_is_refused():
    with pytest.raises(ValueError, match="day_pain must"):
        usual_pain(np.array([11.0]))


def test_spell_runs_from_its_first_report_to_its_newest():
    assert spell_hours([(0, 2), (10, 5), (20, 6), (50, 5)]) == 40


@pytest.mark.parametrize("report", [0, 1, 2])
def test_every_report_of_a_spell_finds_the_same_spell(report):
    found = raised_spell(np.array([10.0, 20.0, 50.0]), np.array([5.0, 6.0, 5.0]), 2.0, report)
    assert (found.first_hours, found.newest_hours) == (10, 50)


def test_report_back_at_two_above_usual_ends_the_spell():
    assert spell_hours([(0, 5), (10, 4), (20, 5), (26, 5)]) == 6


def test_report_after_the_end_does_not_lengthen_an_earlier_spell():
    assert spell_hours([(0, 5), (6, 5), (10, 2), (20, 5)], report=0) == 6


def test_report_between_the_two_lines_neither_ends_nor_lengthens():
    assert spell_hours([(0, 6), (10, 5), (20, 6), (30, 5)], usual=2.5, report=2) == 20


def test_report_that_is_not_raised_has_no_spell():
    assert math.isnan(spell_hours([(0, 6), (30, 4)]))


def test_unknown_usual_pain_has_no_spell():
    assert math.isnan(spell_hours([(0, 9), (30, 9)], usual=math.nan))


def test_spell_looks_no_more_than_seven_days_back():
    assert spell_hours([(0, 6), (1, 6), (168.5, 6)]) == 167.5


def test_lone_raised_report_has_lasted_no_time_yet():
    assert spell_hours([(7, 6)]) == 0


reports = st.lists(st.tuples(st.integers(0, 200), st.integers(0, 10)), min_size=1, max_size=12)


@given(reports, st.integers(0, 7), st.integers(-1000, 1000), st.randoms())
def test_spell_does_not_depend_on_the_order_or_the_start_of_the_clock(rows, usual, shift, order):
    marked = [(hour, pain, place == 0) for place, (hour, pain) in enumerate(rows)]
    order.shuffle(marked)
    place = [is_asked for _, _, is_asked in marked].index(True)
    plain = spell_hours(rows, usual, 0)
    moved = spell_hours([(hour + shift, pain) for hour, pain, _ in marked], usual, place)
    assert plain == moved or (math.isnan(plain) and math.isnan(moved))


@pytest.mark.parametrize(
    ("hours", "pain", "message"),
    [
        ([0.0, 1.0], [5.0], r"hours and pain must have one dimension and one length, got \(2,\) and \(1,\)"),
        ([[0.0]], [[5.0]], "must have one dimension"),
        ([math.nan], [5.0], "hours must be finite"),
        ([0.0], [11.0], "pain must"),
    ],
)
def test_impossible_reports_are_refused(hours, pain, message):
    with pytest.raises(ValueError, match=message):
        raised_spell(np.array(hours), np.array(pain), 2.0, 0)
