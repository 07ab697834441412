import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.effort import are_hard_sets, is_hard_set, judge_effort, rir_bias, rir_from_rpe
from coaching.compute.strength import estimated_1rm

reserves = st.floats(0, 10)
shares = st.one_of(st.none(), st.floats(0, 1.2))


@pytest.mark.parametrize("rpe", [6.5, 6, 3, 1, math.nan])
def test_light_effort_says_no_number(rpe):
    assert math.isnan(rir_from_rpe(rpe))


@pytest.mark.parametrize("rpe", [0.5, 10.5, 8.25, math.inf, -1])
def test_effort_off_the_scale_is_refused(rpe):
    with pytest.raises(ValueError, match=f"rpe must be 1 to 10 in half steps, got {rpe}"):
        rir_from_rpe(rpe)


def test_a_half_step_of_effort_feeds_the_estimate():
    assert estimated_1rm(100, 5, rir_from_rpe(8)) == pytest.approx(123.3333, abs=1e-4)


def test_the_bias_is_how_much_more_was_left_than_said():
    bias = rir_bias([2, 2, 3, 1], [3, 2, 5, 2])
    assert (bias.mean_bias, bias.n) == (1.0, 4)


# Bland and Altman 1986, from memory: mean +- 1.96 sample standard deviations.
def test_the_band_of_the_bias_holds_single_guesses():
    bias = rir_bias([2, 2, 3, 1], [3, 2, 5, 2])
    sd = np.std([1, 0, 2, 1], ddof=1)
    assert (bias.low, bias.high) == pytest.approx((1 - 1.96 * sd, 1 + 1.96 * sd))


def test_one_guess_has_a_bias_but_no_band():
    bias = rir_bias([2], [3])
    assert (bias.mean_bias, bias.n) == (1, 1)
    assert math.isnan(bias.low)
    assert math.isnan(bias.high)


def test_no_guess_has_no_bias():
    bias = rir_bias([math.nan], [3])
    assert bias.n == 0
    assert math.isnan(bias.mean_bias)


@pytest.mark.parametrize(
    ("guessed", "actual", "message"),
    [
        ([1, 2], [1], "guessed_rir and actual_rir must have one dimension and one length"),
        ([-1], [1], "guessed_rir must be finite numbers of 0 or more, or nan"),
        ([1], [math.inf], "actual_rir must be finite numbers of 0 or more, or nan"),
    ],
)
def test_the_bias_names_what_it_cannot_take(guessed, actual, message):
    with pytest.raises(ValueError, match=message):
        rir_bias(guessed, actual)


# Low loads count only near failure; the limits are coach judgement.
@pytest.mark.parametrize(
    ("rir", "share", "expected"),
    [
        pytest.param(4, 0.8, True, id="four left with a heavy load"),
        pytest.param(4.5, 0.8, False, id="more than four left"),
        pytest.param(4, 0.51, True, id="four left just above half the maximum"),
        pytest.param(3, 0.5, False, id="three left at half the maximum"),
        pytest.param(2, 0.5, True, id="two left at half the maximum"),
        pytest.param(2, 0.3, True, id="two left at thirty percent"),
        pytest.param(0, 0.29, False, id="below thirty percent"),
        pytest.param(4, None, True, id="load not known"),
        pytest.param(4, math.nan, True, id="load nan"),
        pytest.param(None, 0.8, False, id="reserve not known"),
        pytest.param(math.nan, None, False, id="nothing known"),
    ],
)
def test_a_set_is_hard_by_its_load_and_reserve(rir, share, expected):
    assert is_hard_set(rir, share_of_1rm=share) is expected


@pytest.mark.parametrize("share", [None, 0.2, 0.4, 0.9])
def test_a_set_to_failure_is_hard_at_any_load(share):
    assert is_hard_set(None, to_failure=True, share_of_1rm=share)


def test_a_warm_up_is_never_hard():
    assert not is_hard_set(0, to_failure=True, share_of_1rm=0.8, is_work_set=False)


def test_a_coach_may_ask_for_less_reserve():
    assert not is_hard_set(4, share_of_1rm=0.8, max_rir=3)
    assert not is_hard_set(2, share_of_1rm=0.4, max_rir=1)


def test_the_array_form_agrees_with_the_single_one():
    generator = np.random.default_rng(11)
    rir = generator.choice([0, 1, 2, 3, 4, 5, np.nan], 300)
    share = generator.choice([0.2, 0.3, 0.4, 0.5, 0.7, np.nan], 300)
    to_failure, is_work = generator.random(300) < 0.2, generator.random(300) < 0.8
    many = are_hard_sets(rir, to_failure=to_failure, share_of_1rm=share, is_work_set=is_work)
    for row, found in enumerate(many):
        assert found == is_hard_set(
            rir[row], to_failure=to_failure[row], share_of_1rm=share[row], is_work_set=is_work[row]
        )


@given(reserves, reserves, shares)
def test_less_in_reserve_never_makes_a_set_less_hard(one, other, share):
    fewer, more = sorted((one, other))
    assert is_hard_set(fewer, share_of_1rm=share) >= is_hard_set(more, share_of_1rm=share)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"rir": -1}, "rir must be 0 or more"),
        ({"rir": 1, "share_of_1rm": -0.1}, "share_of_1rm must be 0 or more"),
        ({"rir": 1, "max_rir": -1}, "max_rir must be 0 or more"),
    ],
)
def test_hard_sets_name_what_is_out_of_range(arguments, message):
    with pytest.raises(ValueError, match=message):
        is_hard_set(**arguments)


def effort_of(*sets: tuple[float, float], is_ended_by_pain: bool = False) -> float:
    """Of one session, whose sets are pairs of reserve and target; pain, if any, ended the first."""
    rir, target = np.array(sets, dtype=float).reshape(-1, 2).T
    is_pain = np.arange(len(sets)) < int(is_ended_by_pain)
    return float(judge_effort(np.zeros(len(sets), dtype=np.int64), rir, target, is_pain, n_sessions=1)[0])


@pytest.mark.parametrize(
    ("sets", "reached"),
    [
        ([(2, 2), (1, 2)], 1),
        ([(0, 0)], 1),
        ([(2.5, 2)], 0),
        ([(1, 0)], 0),
        ([(2, 2), (math.nan, 2)], math.nan),
        ([(4, 2), (math.nan, 2)], 0),
        ([(4, math.nan), (2, 2)], 1),
        ([(4, math.nan)], math.nan),
        ([], math.nan),
    ],
)
def test_one_set_short_of_its_target_decides_and_one_unknown_leaves_it_open(sets, reached):
    assert effort_of(*sets) == pytest.approx(reached, nan_ok=True)


def test_a_set_that_pain_ended_is_no_lack_of_effort():
    assert math.isnan(effort_of((5, 2), (2, 2), is_ended_by_pain=True))


def test_efforts_of_different_lengths_are_refused():
    with pytest.raises(ValueError, match="session must have the shape of rir, rir_target and"):
        judge_effort(np.zeros(1, int), np.zeros(2), np.zeros(1), np.zeros(1, bool), n_sessions=1)
