"""Lifts: stories of single lifts, then generated lifts replayed night by night."""

import numpy as np
import pytest

from coaching.compute.progress import (
    LiftAssessments,
    ProgressSettings,
    assess_lifts,
    minimal_detectable_change,
)

DAYS = np.arange(1.0, 85.0, 3.5)  # two exposures a week
WEEKS = DAYS / 7
ZIGZAG = np.where(np.arange(len(DAYS)) % 2 == 0, 0.015, -0.015)


def assess(
    logs: np.ndarray,
    status: str = "intermediate",
    days: np.ndarray = DAYS,
    is_comparable: np.ndarray | None = None,
    attendance: float | None = None,
    as_of_day: float = 84,
) -> LiftAssessments:
    return assess_lifts(
        days[None, :],
        100 * np.exp(logs)[None, :],
        np.ones((1, len(days)), dtype=bool) if is_comparable is None else is_comparable[None, :],
        np.array([status]),
        as_of_day=as_of_day,
        increment_kg=np.array([2.5]),
        attendance=None if attendance is None else np.array([attendance]),
    )


def test_a_novice_who_gains_one_per_cent_a_week_progresses():
    assert assess(0.01 * WEEKS + ZIGZAG, "novice").state == ["progressing"]


def test_a_novice_who_stands_still_has_stalled():
    assert assess(ZIGZAG, "novice").state == ["stalled"]


def test_the_same_flat_lift_is_no_stall_for_an_advanced_lifter():
    assert assess(ZIGZAG, "advanced").state == ["progressing"]


def test_a_clear_new_best_in_the_last_days_is_no_stall():
    logs = ZIGZAG.copy()
    logs[-1] = 0.06
    assert assess(logs, "novice").state == ["progressing"]


def test_a_fall_beyond_its_noise_is_regressing():
    found = assess(-0.015 * WEEKS + ZIGZAG)
    assert (found.state[0], bool(found.fall[0] > found.fall_mdc[0])) == ("regressing", True)


def test_a_small_fall_is_not_regressing():
    assert assess(-0.002 * WEEKS + ZIGZAG).state == ["stalled"]


def test_slope_is_that_of_least_squares():
    logs = 0.004 * WEEKS + ZIGZAG
    assert assess(logs).slope_per_week[0] == pytest.approx(np.polyfit(WEEKS, logs, 1)[0])


def test_heavier_plates_do_not_change_the_state():
    logs = 0.01 * WEEKS + ZIGZAG
    assert assess(logs + np.log(3)).slope_per_week == pytest.approx(assess(logs).slope_per_week)


def test_seven_exposures_are_too_few_and_one_is_missing():
    found = assess(ZIGZAG[-7:], days=DAYS[-7:])
    assert (found.state[0], found.reason[0], found.exposures_to_go[0]) == (
        "not_assessable",
        "few_exposures",
        1,
    )


def test_an_intermediate_needs_four_weeks():
    days = np.arange(64.0, 84.0, 2)
    found = assess(np.zeros(10), days=days)
    assert (found.reason[0], found.days_to_go[0]) == ("short_span", 10)


def test_a_novice_needs_two_weeks_only():
    assert assess(np.zeros(10), "novice", days=np.arange(64.0, 84.0, 2)).reason == [""]


def test_a_lift_left_alone_for_a_month_is_not_assessable():
    assert assess(ZIGZAG[:12], days=DAYS[:12]).reason == ["no_recent_exposures"]


def test_exposures_that_are_not_comparable_are_left_out_and_counted():
    is_comparable = np.arange(len(DAYS)) % 3 != 0
    found = assess(np.where(is_comparable, 0.01 * WEEKS, -1.0), "novice", is_comparable=is_comparable)
    assert (found.state[0], found.n_left_out[0]) == ("progressing", 8)


def test_a_badly_attended_lift_is_not_assessable():
    assert assess(ZIGZAG, attendance=0.7).reason == ["low_attendance"]


def test_unknown_attendance_does_not_stand_in_the_way():
    assert assess(ZIGZAG, attendance=np.nan).reason == [""]


def test_exposures_after_the_night_are_not_seen():
    assert assess(0.01 * WEEKS, as_of_day=40).last_day[0] <= 40


def test_the_order_of_exposures_does_not_matter():
    order = np.random.default_rng(1).permutation(len(DAYS))
    logs = -0.015 * WEEKS + ZIGZAG
    assert assess(logs[order], days=DAYS[order]).fall == pytest.approx(assess(logs).fall)


def test_padding_changes_nothing():
    logs = 0.01 * WEEKS + ZIGZAG
    padded = assess(np.append(logs, [np.nan, np.nan]), days=np.append(DAYS, [np.nan, np.nan]))
    assert padded.slope_per_week == pytest.approx(assess(logs).slope_per_week)


def test_a_lift_without_exposures_has_no_days():
    found = assess(np.array([]), days=np.array([]))
    assert (found.reason[0], np.isnan(found.first_day[0])) == ("few_exposures", True)


def test_reps_at_the_same_load_can_be_the_lever():
    reps = np.tile([15.0, 16.0], 12)
    found = assess_lifts(
        DAYS[None, :],
        reps[None, :],
        np.ones((1, 24), dtype=bool),
        np.array(["novice"]),
        as_of_day=84,
        increment_kg=np.array([1.0]),
    )
    assert found.state == ["stalled"]


def test_unknown_status_is_refused():
    with pytest.raises(ValueError, match="status must be one of novice, intermediate, advanced, got elite"):
        assess(ZIGZAG, "elite")


def test_an_e1rm_of_zero_is_refused():
    with pytest.raises(ValueError, match=r"e1rm_kg must be above 0 or nan, got 0\.0"):
        assess(np.full(24, -np.inf))


def test_shapes_that_differ_are_refused():
    with pytest.raises(ValueError, match="is_comparable must have the shape of times_days"):
        assess(ZIGZAG, is_comparable=np.ones(3, dtype=bool))


def test_a_negative_increment_is_refused():
    with pytest.raises(ValueError, match=r"increment_kg must be 0 or more, got -1\.0"):
        assess_lifts(
            np.ones((1, 1)),
            np.ones((1, 1)),
            np.ones((1, 1), dtype=bool),
            np.array(["novice"]),
            as_of_day=1,
            increment_kg=np.array([-1.0]),
        )


def test_times_must_have_two_dimensions():
    with pytest.raises(ValueError, match="times_days must have two dimensions, got 1"):
        assess_lifts(
            np.ones(3),
            np.ones(3),
            np.ones(3, dtype=bool),
            np.array(["novice"]),
            as_of_day=1,
            increment_kg=np.array([1.0]),
        )


N_LIFTS, STOP_DAY, LAST_DAY = 150, 180, 365


def stalled_nights(status: str, per_week: float, stops: bool, seed: int) -> np.ndarray:
    """Nights from 84 on which generated lifts (3 % noise, two exposures a week, some missing) are stalled."""
    rng = np.random.default_rng(seed)
    days = np.tile(np.floor(np.arange(0, LAST_DAY, 3.5)), (N_LIFTS, 1))
    trained_weeks = np.minimum(days, STOP_DAY if stops else LAST_DAY) / 7
    e1rm_kg = 100 * np.exp(per_week * trained_weeks + rng.normal(0, 0.03, days.shape))
    e1rm_kg[rng.random(days.shape) < 0.1] = np.nan
    nights = [
        assess_lifts(
            days,
            e1rm_kg,
            np.ones(days.shape, dtype=bool),
            np.full(N_LIFTS, status),
            as_of_day=night,
            increment_kg=np.full(N_LIFTS, 2.5),
        ).state
        == "stalled"
        for night in range(84, LAST_DAY)
    ]
    return np.array(nights).T


def openings(stalled: np.ndarray) -> np.ndarray:
    before = np.concatenate([np.zeros((len(stalled), 1), dtype=bool), stalled[:, :-1]], axis=1)
    return stalled & ~before


@pytest.mark.parametrize(("status", "per_week"), [("novice", 0.01), ("intermediate", 0.0035)])
def test_lifters_who_gain_are_rarely_called_stalled(status: str, per_week: float):
    nights = stalled_nights(status, per_week, stops=False, seed=3)
    assert nights.mean() <= 0.05


@pytest.mark.parametrize(
    ("status", "per_week", "within_days", "share"),
    [("novice", 0.01, 56, 0.85), ("intermediate", 0.0035, 84, 0.5)],
)
def test_most_lifts_that_stop_are_found(status: str, per_week: float, within_days: int, share: float):
    opens = openings(stalled_nights(status, per_week, stops=True, seed=4))
    after_stop = opens[:, STOP_DAY - 84 : STOP_DAY - 84 + within_days]
    assert after_stop.any(axis=1).mean() >= share


def test_a_wider_interval_calls_fewer_lifts_stalled():
    logs = 0.004 * WEEKS + ZIGZAG
    states = [
        assess_lifts(
            DAYS[None, :],
            np.exp(logs)[None, :],
            np.ones((1, 24), dtype=bool),
            np.array(["novice"]),
            as_of_day=84,
            increment_kg=np.array([2.5]),
            settings=ProgressSettings(interval=interval),
        ).state[0]
        for interval in (0.5, 0.9999999)
    ]
    assert states == ["stalled", "progressing"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((np.array([-0.1]),), "noise must be 0 or more, or nan, got -0.1"),
        ((np.array([0.04]), 0), "n_averaged must be 1 or more, got 0"),
        ((np.array([0.04]), 1, 1.0), "confidence must lie between 0 and 1, got 1.0"),
    ],
)
def test_the_detectable_change_names_what_it_cannot_take(arguments, message):
    with pytest.raises(ValueError, match=message):
        minimal_detectable_change(*arguments)


def test_attendance_must_cover_every_lift():
    with pytest.raises(ValueError, match=r"attendance must have 1 entries, got \(2,\)"):
        assess_lifts(
            np.ones((1, 1)),
            np.ones((1, 1)),
            np.ones((1, 1), dtype=bool),
            np.array(["novice"]),
            as_of_day=1,
            increment_kg=np.array([1.0]),
            attendance=np.ones(2),
        )
