"""Adherence by week: bounds, what counts, and the same sessions as in the score of 28 days."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.adherence_weeks import WeeklyAdherence, weekly_adherence
from coaching.compute.scheduled_sessions import NOT_DONE, STATES, UNKNOWN
from tests.compute.scheduled import TODAY, Due, assess, sessions

FIRST_DAY = TODAY - 27  # four weeks that end today
COUNTS = ["n_done", "n_late", "n_not_done", "n_unknown"]


def weeks(*due: Due, n_weeks: int = 4) -> WeeklyAdherence:
    return weekly_adherence(sessions(*due), first_day=FIRST_DAY, n_weeks=n_weeks, as_of_day=TODAY)


def test_a_session_without_a_log_opens_the_bounds_of_its_week_alone():
    found = weeks(Due(FIRST_DAY), Due(FIRST_DAY + 6, UNKNOWN), Due(FIRST_DAY + 7))
    assert (found.score_low[0], found.score_high[0]) == (0.5, 1)
    assert (found.score_low[1], found.score_high[1]) == (1, 1)


def test_a_week_without_sessions_is_not_known():
    found = weeks(Due(FIRST_DAY))
    assert np.isnan(found.score_low[1:]).all() and np.isnan(found.score_high[1:]).all()


def test_a_week_of_skipped_sessions_is_0_and_known():
    found = weeks(Due(FIRST_DAY, NOT_DONE))
    assert (found.score_low[0], found.score_high[0]) == (0, 0)


def test_a_session_counts_in_the_week_it_was_scheduled_for():
    assert weeks(Due(FIRST_DAY + 6, days_late=2)).n_done.tolist() == [1, 0, 0, 0]


def test_a_session_done_after_its_grace_days_is_late_and_scores_nothing():
    found = weeks(Due(FIRST_DAY, days_late=3))
    assert (found.n_late[0], found.n_done[0], found.score_high[0]) == (1, 0, 0)


def test_a_session_within_its_grace_days_is_pending():
    found = weeks(Due(TODAY, UNKNOWN))
    assert (found.n_pending[3], found.n_unknown[3]) == (1, 0)
    assert np.isnan(found.score_high[3])


def test_an_excused_session_is_counted_apart():
    found = weeks(Due(FIRST_DAY, NOT_DONE, is_excused=True))
    assert (found.n_excused[0], found.n_not_done[0]) == (1, 0)
    assert np.isnan(found.score_low[0])


@pytest.mark.parametrize("day", [FIRST_DAY - 1, TODAY + 1])
def test_sessions_outside_of_the_weeks_are_ignored(day):
    found = weeks(Due(day, NOT_DONE), n_weeks=5)
    assert sum(getattr(found, name).sum() for name in COUNTS) == 0


def test_no_sessions_at_all_are_weeks_that_are_not_known():
    found = weeks()
    assert found.score_low.shape == (4,) and np.isnan(found.score_low).all()


def test_no_weeks_are_refused():
    with pytest.raises(ValueError, match="n_weeks must be 1 or more, got 0"):
        weeks(Due(90), n_weeks=0)


stories = st.lists(
    st.builds(
        Due,
        day=st.integers(60, 105),
        state=st.sampled_from(STATES),
        share=st.floats(0, 1.5),
        days_late=st.integers(0, 4),
        is_excused=st.booleans(),
    ),
    max_size=15,
)


@given(stories)
def test_the_weeks_weighted_by_their_sessions_are_the_score_of_28_days(due):
    found, whole = weeks(*due), assess(*due)
    counted = sum(getattr(found, name) for name in COUNTS)
    assert counted.sum() == whole.n_counted[0]
    for name in ("score_low", "score_high"):
        if whole.n_counted[0]:
            mean = np.nansum(getattr(found, name) * counted) / counted.sum()
            assert mean == pytest.approx(getattr(whole, name)[0])


@given(stories)
def test_the_lower_bound_is_never_above_the_upper(due):
    found = weeks(*due)
    is_known = ~np.isnan(found.score_low)
    assert (found.score_low[is_known] <= found.score_high[is_known]).all()
