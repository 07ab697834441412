"""What an exposure showed against what was asked for."""

from decimal import Decimal

import pytest

from coaching.compute.exposure_result import (
    ExposureResult,
    amount_at_effort,
    is_short,
    judge_exposure,
    load_after_shortfall,
)
from coaching.compute.prescribing import PerformedSet, Target
from tests.compute.prescribed import KG, TWO_IN_RESERVE, work_set

SIX_TO_TEN = Target(2, 6, 10)
RESERVED = Target(1, 6, 10, **TWO_IN_RESERVE)
HOLD = Target(2, duration_s=40)


def judged(*sets: PerformedSet, target: Target = SIX_TO_TEN, second: bool = False) -> ExposureResult:
    return judge_exposure(target, sets, KG, is_second_half=second)


def test_the_load_is_the_heaviest_with_which_the_range_was_reached():
    assert judged(work_set(60, 4), work_set(55, 8)).load_kg == 55
    assert judged(work_set(60, 8), work_set(55, 8)).load_kg == 60


def test_where_the_range_was_never_reached_it_is_the_lightest():
    assert judged(work_set(60, 4), work_set(55, 4)).load_kg == 55


def test_the_weakest_set_with_that_load_counts():
    assert judged(work_set(60, 9), work_set(60, 7)).weakest == 7


def test_every_set_at_the_top_is_the_top():
    assert judged(work_set(60, 10), work_set(60, 11)).is_top
    assert not judged(work_set(60, 10), work_set(60, 9)).is_top


def test_a_lighter_last_set_is_not_the_top():
    assert not judged(work_set(60, 10), work_set(57.5, 12)).is_top


def test_a_set_that_was_left_out_is_not_the_top():
    found = judged(work_set(60, 10))
    assert not found.is_top and not found.is_complete


def test_less_in_reserve_than_asked_for_counts_as_fewer_repetitions():
    assert amount_at_effort(RESERVED, work_set(60, 10, rir=0.5)) == 8
    assert not judged(work_set(60, 10, rir=1), target=RESERVED).is_top


def test_more_in_reserve_than_asked_for_counts_as_done():
    assert amount_at_effort(RESERVED, work_set(60, 10, rir=4)) == 10


def test_an_unknown_reserve_matters_only_where_one_was_asked_for():
    assert not judged(work_set(60, 10, rir=None), target=RESERVED).is_effort_known
    assert judged(work_set(60, 10, rir=None)).is_effort_known


def test_a_set_to_failure_leaves_none():
    assert PerformedSet(Decimal(60), reps=8, rir=3, is_to_failure=True).left == 0


def test_the_range_reached_with_too_little_in_reserve_is_too_hard():
    assert judged(work_set(60, 7, rir=0), target=RESERVED).is_too_hard
    assert not judged(work_set(60, 7, rir=2), target=RESERVED).is_too_hard


def test_stopped_early_with_enough_in_reserve_is_not_short():
    found = judged(work_set(60, 4, rir=4), target=RESERVED)
    assert found.has_stopped_early and found.short_set is None


def test_a_tired_last_set_is_short_only_in_a_second_half():
    sets = work_set(60, 8), work_set(60, 4)
    assert judged(*sets).short_set is None
    assert judged(*sets, second=True).short_set == sets[1]


def test_no_set_in_the_range_is_short():
    sets = work_set(60, 5), work_set(60, 4)
    assert judged(*sets).short_set == sets[1]


def test_a_set_that_pain_ended_is_neither_short_nor_the_load():
    found = judged(work_set(60, 7), work_set(65, 2, by_pain=True), second=True)
    assert found.is_ended_by_pain and found.short_set is None and found.load_kg == 60


def test_pain_in_every_set_leaves_the_lightest_load():
    found = judged(work_set(60, 2, by_pain=True), work_set(55, 2, by_pain=True))
    assert found.is_ended_by_pain and found.load_kg == 55


def test_a_hold_is_short_below_three_quarters():
    assert is_short(HOLD, PerformedSet(Decimal(20), duration_s=29))
    assert not is_short(HOLD, PerformedSet(Decimal(20), duration_s=30))


def test_a_short_hold_comes_down_by_a_step():
    assert load_after_shortfall(HOLD, PerformedSet(Decimal(20), duration_s=10), KG) == Decimal("17.5")


def test_the_reserve_asked_for_is_kept_in_the_fall():
    to_failure = load_after_shortfall(SIX_TO_TEN, work_set(60, 4), KG)
    assert load_after_shortfall(RESERVED, work_set(60, 4), KG) == Decimal("50.0") < to_failure


def test_no_set_is_refused():
    with pytest.raises(ValueError, match="sets must be one or more, got 0"):
        judged()
