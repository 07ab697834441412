"""Pain trend rules: named stories of single clients, then generated cohorts replayed night by night."""

from dataclasses import dataclass

import numpy as np
import pytest

from coaching.bench.cohorts import FLARE_KINDS, N_DAYS, QUIET_KINDS, Cohort, generate
from coaching.compute.alert_life import follow_alerts
from coaching.compute.pain_trend import SiteAssessments, assess_sites, find_spikes

N_SERIES = 120
FIRST_NIGHT = 84
DAYS = np.arange(84)
TRAINS = DAYS % 7 % 2 == 0  # four sessions a week
LAST_FOUR_WEEKS = np.maximum(0, DAYS - 55) / 7


def story(pain: np.ndarray, joint_reps: np.ndarray) -> SiteAssessments:
    """One client who trains and reports on the training days; a wobble keeps the noise honest."""
    wobble = np.where(DAYS % 5 == 0, 1, 0)
    reported = np.where(TRAINS & (joint_reps > 0), np.round(pain) + wobble, np.nan)
    return assess_sites(reported[None, :], np.where(TRAINS, joint_reps, 0.0)[None, :])


def flat(value: float) -> np.ndarray:
    return np.full(84, value)


def test_a_flare_fires():
    found = story(2 + LAST_FOUR_WEEKS, 30 * 1.1**LAST_FOUR_WEEKS)
    assert (found.is_pain_with_volume[0], found.is_pain_rising[0]) == (True, False)


def test_a_flare_says_from_what_to_what_and_since_when():
    found = story(2 + LAST_FOUR_WEEKS, 30 * 1.1**LAST_FOUR_WEEKS)
    assert 1.5 <= found.level_from[0] <= 2.7
    assert 5.0 <= found.level_to[0] <= 7.0
    assert 48 <= found.onset_day[0] <= 62
    assert found.pain_per_week_low[0] < 1 < found.pain_per_week_high[0]


def test_pain_that_climbs_while_volume_falls_is_rising_only():
    found = story(2 + LAST_FOUR_WEEKS, 30 * 0.9**LAST_FOUR_WEEKS)
    assert (found.is_pain_with_volume[0], found.is_pain_rising[0]) == (False, True)


def test_always_at_three_does_not_fire_when_volume_rises():
    found = story(flat(3), 30 * 1.1**LAST_FOUR_WEEKS)
    assert (found.is_pain_with_volume[0], found.is_pain_rising[0]) == (False, False)


def test_one_bad_night_does_not_fire():
    pain = flat(2)
    pain[79] = 8
    found = story(pain, 30 * 1.1**LAST_FOUR_WEEKS)
    assert (found.is_pain_with_volume[0], found.is_pain_rising[0], found.n_spikes[0]) == (False, False, 1)


def test_a_deload_week_does_not_make_the_next_weeks_a_rise():
    joint_reps = flat(30)
    joint_reps[56:70] = 15
    assert story(2 + LAST_FOUR_WEEKS, joint_reps).is_pain_with_volume == [False]


def test_a_return_from_holiday_is_no_rise_of_volume():
    joint_reps = flat(30)
    joint_reps[49:70] = 0
    found = story(flat(2), joint_reps)
    assert found.volume_change[0] == pytest.approx(0, abs=0.01)
    assert not found.is_pain_with_volume[0]


def test_a_step_up_in_volume_without_pain_does_not_fire():
    found = story(flat(2), np.where(DAYS >= 70, 45.0, 30.0))
    assert (found.volume_change[0] > 0.4, found.is_pain_with_volume[0]) == (True, False)


def test_a_newcomer_is_not_assessable():
    found = story(2 + LAST_FOUR_WEEKS, np.where(DAYS >= 56, 30.0, 0.0))
    assert (found.is_assessable[0], found.reason[0]) == (False, "short_history")


def test_a_client_who_hardly_reports_is_not_assessable():
    pain = np.full((1, 84), np.nan)
    pain[0, ::14] = 3
    assert assess_sites(pain, np.full((1, 84), 30.0)).reason == ["few_reports"]


def test_a_client_who_stopped_reporting_is_not_assessable():
    pain = np.where(DAYS < 65, 3.0, np.nan)[None, :]
    assert assess_sites(pain, np.full((1, 84), 30.0)).reason == ["no_recent_reports"]


def test_training_days_without_a_report_are_counted():
    pain = np.where(TRAINS, 3.0, np.nan)[None, :]
    pain[0, [0, 2, 4]] = np.nan
    assert assess_sites(pain, np.where(TRAINS, 30.0, 0)[None, :]).n_missing == [3]


def test_days_before_the_window_change_nothing():
    pain = np.where(TRAINS, 2 + np.round(LAST_FOUR_WEEKS), np.nan)[None, :]
    joint_reps = np.where(TRAINS, 30 * 1.1**LAST_FOUR_WEEKS, 0.0)[None, :]
    longer = assess_sites(np.hstack([np.full((1, 40), 9.0), pain]), np.hstack([np.ones((1, 40)), joint_reps]))
    found = assess_sites(pain, joint_reps)
    assert longer.statistic == pytest.approx(found.statistic)
    assert longer.onset_day == found.onset_day + 40


def test_each_series_is_assessed_on_its_own():
    cohort = generate("flare", 6, seed=5)
    together = assess_sites(cohort.pain, cohort.joint_reps)
    alone = assess_sites(cohort.pain[3:4], cohort.joint_reps[3:4])
    assert together.statistic[3] == pytest.approx(alone.statistic[0])


def test_no_series_give_no_entries():
    assert assess_sites(np.ones((0, 84)), np.ones((0, 84))).is_pain_rising.shape == (0,)


def test_no_days_are_a_short_history():
    assert assess_sites(np.ones((1, 0)), np.ones((1, 0))).reason == ["short_history"]


def test_two_bad_days_in_a_row_are_no_spike():
    assert not find_spikes(np.array([[2.0, 2.0, 6.0, 6.0, 2.0]]), 3).any()


def test_pain_above_ten_is_refused():
    with pytest.raises(ValueError, match=r"pain must lie in 0 to 10 or be nan, got 11\.0"):
        assess_sites(np.full((1, 84), 11.0), np.ones((1, 84)))


def test_joint_reps_of_another_shape_are_refused():
    with pytest.raises(ValueError, match="joint_reps must have the shape of pain"):
        assess_sites(np.ones((1, 84)), np.ones((1, 83)))


def test_planned_deloads_of_another_shape_are_refused():
    with pytest.raises(ValueError, match="is_planned_deload must have the shape of pain"):
        assess_sites(np.ones((1, 84)), np.ones((1, 84)), is_planned_deload=np.ones((1, 7), dtype=bool))


def test_pain_must_have_two_dimensions():
    with pytest.raises(ValueError, match="pain must have two dimensions, got 1"):
        assess_sites(np.ones(84), np.ones(84))


@dataclass(frozen=True)
class Replay:
    cohort: Cohort
    with_volume: np.ndarray
    rising: np.ndarray

    def share_found(self, opens: np.ndarray, within_days: int = 42) -> float:
        return float(np.mean(self.delays(opens) <= within_days))

    def delays(self, opens: np.ndarray) -> np.ndarray:
        delay = FIRST_NIGHT + np.arange(opens.shape[1])[None, :] - self.cohort.onset_day[:, None]
        return np.where(opens & (delay > 0), delay, np.inf).min(axis=1)


@pytest.fixture(scope="module")
def replays() -> dict[str, Replay]:
    found = {}
    for kind in (*QUIET_KINDS, *FLARE_KINDS, "falling_volume"):
        cohort = generate(kind, N_SERIES, seed=11)
        nights = [
            assess_sites(cohort.pain[:, :night], cohort.joint_reps[:, :night])
            for night in range(FIRST_NIGHT, N_DAYS)
        ]
        with_volume = np.array([night.is_pain_with_volume for night in nights]).T
        rising = np.array([night.is_pain_rising for night in nights]).T
        found[kind] = Replay(cohort, follow_alerts(with_volume).opens, follow_alerts(rising).opens)
    return found


def test_quiet_clients_open_few_alerts(replays):
    openings = sum(replays[kind].with_volume.sum() for kind in QUIET_KINDS)
    site_years = len(QUIET_KINDS) * N_SERIES * (N_DAYS - FIRST_NIGHT) / 365
    assert openings / site_years <= 0.35


def test_most_flares_are_found_within_six_weeks(replays):
    flare = replays["flare"]
    assert flare.share_found(flare.with_volume) >= 0.85
    assert np.median(flare.delays(flare.with_volume)) <= 32


def test_slow_flares_are_found_less_often(replays):
    slow, flare = replays["slow_flare"], replays["flare"]
    assert 0.4 <= slow.share_found(slow.with_volume) <= flare.share_found(flare.with_volume)


def test_pain_with_falling_volume_is_mostly_called_rising(replays):
    falling = replays["falling_volume"]
    assert falling.share_found(falling.rising) >= 0.8
    assert falling.share_found(falling.with_volume) <= 0.3
