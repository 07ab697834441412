"""Adherence taken apart, per session and over 28 days."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.adherence_parts import PartScores, SessionParts, score_parts, session_parts
from coaching.compute.scheduled_sessions import NOT_DONE, STATES, UNKNOWN, ScheduledSessions
from tests.compute.scheduled import TODAY, Due, assess, sessions

NAN = np.nan

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


def score(*due: Due, n_clients: int = 1) -> PartScores:
    return score_parts(sessions(*due), n_clients=n_clients, as_of_day=TODAY)


def parts_of(scheduled: ScheduledSessions) -> SessionParts:
    return session_parts(scheduled, as_of_day=TODAY)


def one_session(**changed: float) -> ScheduledSessions:
    return replace(sessions(Due(90)), **{name: np.array([value]) for name, value in changed.items()})


def test_a_session_done_as_prescribed_is_whole_in_every_part():
    parts = parts_of(sessions(Due(90, effort=1)))
    found = [parts.attended[0], parts.sets[0], parts.reps[0], parts.load[0], parts.effort[0]]
    assert found == [1] * 5
    assert not parts.is_modified[0]


@pytest.mark.parametrize(
    ("changed", "part", "ratio"),
    [
        ({"completed_sets": 3.0}, "sets", 0.5),
        ({"completed_reps": 45.0, "completed_volume_kg": 2250.0}, "reps", 0.75),
        ({"completed_volume_kg": 2700.0}, "load", 0.9),
    ],
)
def test_less_of_one_part_shows_in_that_part_alone(changed, part, ratio):
    parts = parts_of(one_session(**changed))
    others = [getattr(parts, name)[0] for name in ("sets", "reps", "load") if name != part]
    assert (getattr(parts, part)[0], others) == (ratio, [1, 1])
    assert parts.is_modified[0]


def test_a_skipped_session_has_no_sets_and_no_reps_but_no_load_to_judge():
    parts = parts_of(sessions(Due(90, NOT_DONE, effort=0)))
    assert (parts.attended[0], parts.sets[0], parts.reps[0]) == (0, 0, 0)
    assert np.isnan([parts.load[0], parts.effort[0]]).all()


def test_a_session_without_a_log_is_unknown_in_every_part():
    parts = parts_of(sessions(Due(90, UNKNOWN, effort=1)))
    assert np.isnan([parts.attended, parts.sets, parts.reps, parts.load, parts.effort]).all()
    assert not parts.is_modified[0]


def test_a_session_three_days_late_is_not_attended():
    assert parts_of(sessions(Due(90, days_late=3))).sets == [0]


def test_a_session_without_a_load_has_no_load_to_hold_against():
    assert np.isnan(parts_of(one_session(prescribed_volume_kg=NAN)).load[0])


def test_doing_more_is_shown_but_neither_scored_nor_called_modified():
    more = Due(80, share=1.5)
    assert parts_of(sessions(more)).reps == [1.5]
    found = score(more, Due(85, share=0.5))
    assert (found.reps_low[0], found.n_over[0], found.n_modified[0]) == (0.75, 1, 1)


def test_unknown_sessions_open_the_bounds_of_sets_and_reps():
    found = score(Due(80), Due(85), Due(90, UNKNOWN), Due(95, NOT_DONE))
    bounds = [found.sets_low[0], found.sets_high[0], found.reps_low[0], found.reps_high[0]]
    assert bounds == [0.5, 0.75, 0.5, 0.75]


def test_load_and_effort_are_of_the_attended_sessions():
    found = score(Due(80, effort=1), Due(85, effort=0), Due(90, UNKNOWN), Due(95, NOT_DONE))
    assert (found.load[0], found.effort[0]) == (1, 0.5)


def test_a_session_for_which_no_sets_were_prescribed_leaves_the_denominator_of_sets():
    holds = replace(sessions(Due(80), Due(85, UNKNOWN)), prescribed_sets=np.array([6.0, 0.0]))
    found = score_parts(holds, n_clients=1, as_of_day=TODAY)
    assert (found.sets_low[0], found.sets_high[0]) == (1, 1)


@pytest.mark.parametrize(
    "left_out",
    [
        pytest.param(Due(TODAY + 1, NOT_DONE), id="not yet due"),
        pytest.param(Due(TODAY - 28, NOT_DONE), id="older than 28 days"),
        pytest.param(Due(TODAY - 1, UNKNOWN), id="still within its grace days"),
        pytest.param(Due(90, NOT_DONE, is_excused=True), id="stopped by a clinician"),
    ],
)
def test_some_sessions_do_not_count(left_out):
    assert score(Due(80), left_out).sets_low == [1]


def test_a_client_without_sessions_has_no_scores():
    found = score(Due(90), n_clients=2)
    assert np.isnan([found.sets_low[1], found.sets_high[1], found.load[1], found.effort[1]]).all()


def test_no_sessions_at_all_have_no_parts():
    assert parts_of(sessions()).attended.shape == (0,)
    assert np.isnan(score().sets_low).all()


@given(stories)
def test_reps_alone_score_like_the_dose_where_loads_are_as_prescribed(due):
    parts, whole = score(*due), assess(*due)
    assert parts.reps_low == pytest.approx(whole.score_low, nan_ok=True)
    assert parts.reps_high == pytest.approx(whole.score_high, nan_ok=True)


@given(stories, st.randoms(use_true_random=False))
def test_the_order_of_sessions_does_not_matter(due, shuffler):
    shuffled = list(due)
    shuffler.shuffle(shuffled)
    one, other = score(*due), score(*shuffled)
    for name in PartScores.__dataclass_fields__:
        assert getattr(one, name) == pytest.approx(getattr(other, name), nan_ok=True)


@pytest.mark.parametrize(
    ("share", "is_modified", "is_over"),
    [(0.97, True, False), (0.98, False, False), (1.02, False, False), (1.03, False, True)],
)
def test_a_load_within_its_tolerance_is_as_prescribed(share, is_modified, is_over):
    parts = parts_of(one_session(completed_volume_kg=3000 * share))
    assert (parts.is_modified[0], parts.is_over[0]) == (is_modified, is_over)
