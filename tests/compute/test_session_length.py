from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.plan_week import PlannedBlock, PlannedDay
from coaching.compute.session_length import SessionLength, SessionLengthSettings, session_length
from coaching.compute.warm_up import RampStep
from tests.compute.planned import SPLIT_SQUAT, SQUAT, day, exercise, held, pair, planned

ROW = exercise("row")
SETTINGS = SessionLengthSettings(rep_low_s=2, rep_high_s=4, side_change_s=10, change_over_s=60)

lengths = st.builds(
    planned,
    st.sampled_from([SQUAT, SPLIT_SQUAT, ROW]),
    sets=st.integers(1, 6),
    low=st.integers(1, 5),
    high=st.integers(5, 20),
    tempo=st.sampled_from(["", "3-1-1-0"]),
    rest_s=st.sampled_from([None, 0, 45, 180]),
)


def seconds(planned_day):
    length = session_length(planned_day, SETTINGS)
    return pytest.approx((60 * length.low_min, 60 * length.high_min))


def test_repetitions_without_a_tempo_take_the_named_seconds():
    assert seconds(day(planned(sets=1, low=6, high=10))) == (12, 40)


def test_a_tempo_gives_the_seconds_of_a_repetition():
    assert seconds(day(planned(sets=1, low=6, high=10, tempo="3-1-1-0"))) == (30, 50)


def test_no_rest_follows_the_last_set():
    assert seconds(day(planned(sets=3, low=5, high=5, tempo="2-0-2-0"), rest_s=90)) == (240, 240)


def test_a_prescription_has_its_own_rest():
    assert seconds(day(planned(sets=2, low=5, high=5, tempo="2-0-2-0", rest_s=30), rest_s=90)) == (70, 70)


def test_a_hold_takes_its_seconds():
    assert seconds(day(held(sets=2, duration_s=30), rest_s=60)) == (120, 120)


def test_one_sided_work_takes_each_side_in_turn():
    assert seconds(day(planned(SPLIT_SQUAT, 1, 5, 5, tempo="2-0-2-0"))) == (50, 50)


def test_one_sided_work_of_one_side_takes_that_side():
    assert seconds(day(planned(SPLIT_SQUAT, 1, 5, 5, tempo="2-0-2-0", side="left"))) == (20, 20)


@pytest.mark.parametrize(("rest_s", "between"), [(30, 60), (90, 90)])
def test_between_two_exercises_the_longer_of_rest_and_change_over_counts(rest_s, between):
    two = day(
        planned(sets=1, low=5, high=5, tempo="2020"), planned(ROW, 1, 5, 5, tempo="2020"), rest_s=rest_s
    )
    assert seconds(two) == (40 + between, 40 + between)


def test_a_pair_has_no_rest_inside_and_its_rest_between_rounds():
    rows = [planned(what, 2, 5, 5, tempo="2020") for what in (SQUAT, ROW)]
    assert seconds(pair(*rows, rest_s=120)) == (4 * 20 + 120, 4 * 20 + 120)


def test_a_rest_that_is_asked_for_inside_a_pair_counts():
    rows = [planned(SQUAT, 1, 5, 5, tempo="2020", rest_s=15), planned(ROW, 1, 5, 5, tempo="2020")]
    assert seconds(pair(*rows)) == (55, 55)


def test_rounds_of_a_pair_go_on_with_the_exercise_that_has_sets_left():
    rows = [planned(SQUAT, 2, 5, 5, tempo="2020"), planned(ROW, 1, 5, 5, tempo="2020")]
    assert seconds(pair(*rows, rest_s=100)) == (3 * 20 + 100, 3 * 20 + 100)


def test_a_warm_up_takes_its_repetitions_and_rests():
    ramp = (RampStep(0.5, 5, 30), RampStep(0.7, 3, 30))
    assert seconds(day(planned(sets=1, low=5, high=5, tempo="2020", warm_up=ramp))) == (112, 112)


def test_a_warm_up_of_a_pair_comes_before_its_first_round():
    ramp = (RampStep(0.5, 5, 30),)
    rows = [planned(SQUAT, 1, 5, 5, tempo="2020"), planned(ROW, 1, 5, 5, tempo="2020", warm_up=ramp)]
    assert seconds(pair(*rows)) == (20 + 60 + 40, 20 + 60 + 40)


def test_few_sets_to_failure_take_about_twenty_minutes():
    ramp = (RampStep(0.5, 5), RampStep(0.7, 3), RampStep(0.95, 1))
    blocks = tuple(
        PlannedBlock(
            (
                planned(exercise(f"single_{name}"), 2, 6, 10, to_failure=True, warm_up=ramp),
                planned(exercise(f"compound_{name}"), 2, 4, 10, to_failure=True),
            ),
            rest_s=120,
            is_back_to_back=True,
        )
        for name in ("chest", "back", "legs")
    )
    length = session_length(PlannedDay(blocks))
    assert 15 < length.low_min < 20 < length.high_min < 25


@pytest.mark.parametrize("empty", [PlannedDay(()), pair()])
def test_a_day_without_work_takes_no_time(empty):
    assert session_length(empty) == SessionLength(0, 0)


@given(st.lists(lengths, min_size=1, max_size=6))
def test_the_low_end_is_never_above_the_high_end(rows):
    length = session_length(day(*rows))
    assert 0 < length.low_min <= length.high_min


@given(lengths, st.integers(1, 4))
def test_a_prescription_in_two_parts_takes_as_long(row, more):
    row = replace(row, rest_s=75)
    whole, parts = day(replace(row, sets=row.sets + more)), day(row, replace(row, sets=more))
    assert session_length(parts).high_min == pytest.approx(session_length(whole).high_min)


@given(st.lists(lengths, min_size=1, max_size=6), lengths)
def test_one_more_prescription_takes_longer(rows, more):
    assert session_length(day(*rows, more)).low_min > session_length(day(*rows)).low_min


@pytest.mark.parametrize(
    ("chosen", "message"),
    [
        (SessionLengthSettings(rep_low_s=5), "rep_low_s must not lie above rep_high_s, got 5 and 4"),
        (SessionLengthSettings(change_over_s=-1), "change_over_s must be finite and 0 or more, got -1"),
        (SessionLengthSettings(side_change_s=float("nan")), "side_change_s must be finite"),
    ],
)
def test_impossible_settings_are_refused(chosen, message):
    with pytest.raises(ValueError, match=message):
        session_length(day(planned()), chosen)


def test_an_unreadable_tempo_is_refused():
    with pytest.raises(ValueError, match="tempo must"):
        session_length(day(planned(tempo="slow")))


def test_a_prescription_that_cannot_be_counted_is_refused():
    with pytest.raises(ValueError, match="sets must be 1 or more, got 0"):
        session_length(day(planned(sets=0)))


def test_a_rest_below_zero_is_refused():
    with pytest.raises(ValueError, match="rest_s must be 0 or more, got -5"):
        session_length(day(planned(), rest_s=-5))
