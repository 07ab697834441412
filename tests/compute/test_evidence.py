"""Sentences: the client's own numbers, the dates, how sure, and what is not known."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from coaching.compute.adherence import assess_adherence
from coaching.compute.evidence import CAUTION, refer_out, sentence
from coaching.compute.findings import (
    AdherenceNumbers,
    LiftNumbers,
    OverDoseNumbers,
    PainLimitNumbers,
    PainTrendNumbers,
    SettlingNumbers,
    SilenceNumbers,
    describe_adherence,
    describe_lift,
    describe_over_dose,
    describe_pain_limit,
    describe_pain_trend,
    describe_settling,
    describe_silence,
)
from coaching.compute.over_dose import assess_over_dose
from coaching.compute.pain import assess_settling, find_over_limit
from coaching.compute.pain_trend import assess_sites
from coaching.compute.progress import assess_lifts
from coaching.compute.scheduled_sessions import ScheduledSessions

LAST_ON = date(2026, 3, 25)

TREND = PainTrendNumbers(
    from_on=date(2026, 1, 1),
    onset_on=date(2026, 2, 20),
    to_on=LAST_ON,
    pain_from=2.1,
    pain_to=4.6,
    pain_per_week=0.53,
    pain_per_week_low=0.31,
    pain_per_week_high=0.75,
    interval=0.9,
    statistic=4.2,
    threshold=2.75,
    noise_sd=0.8,
    volume_before_per_week=96.0,
    volume_recent_per_week=128.0,
    volume_change=1 / 3,
    volume_change_since_onset=0.21,
    n_reports=24,
    n_spikes=1,
    n_missing=4,
    p_value=0.00005,
)
LIFT = LiftNumbers(
    from_on=date(2026, 1, 1),
    to_on=LAST_ON,
    slope_per_week=0.001,
    slope_low_per_week=-0.002,
    slope_high_per_week=0.004,
    interval=0.98,
    expected_per_week=0.01,
    best_recent_kg=101.5,
    best_before_kg=102.0,
    fall=0.071,
    fall_mdc=0.052,
    n_exposures=18,
    n_left_out=3,
    p_value=0.0004,
)
PLAN = AdherenceNumbers(days=10, n_sessions=4, score_low=0.25, score_high=0.5, n_unknown=1)


def test_pain_with_volume_names_dates_levels_rate_and_volume():
    assert sentence("pain_with_volume", "left knee", TREND) == (
        "Pain of the left knee climbed from about 2.1 to 4.6 between about 20 February 2026 and 25 March "
        "2026: +0.5 points a week (90% interval +0.3 to +0.8), 4.2 times its standard error where 2.8 is "
        "enough. Volume rose: 128 joint reps a week over the last fortnight against 96 over the ordinary "
        "weeks before, deloads left out (+33%). Rests on 24 reports since 1 January 2026; 1 single bad day "
        "left out; 4 training days without a report, pain not known."
    )


def test_pain_rising_says_that_volume_did_not():
    falling = replace(TREND, volume_recent_per_week=80.0, volume_change=-1 / 6)
    assert "Volume did not clearly rise: 80 joint reps a week" in sentence(
        "pain_rising", "left knee", falling
    )


def test_an_unknown_volume_is_said_to_be_unknown():
    unknown = replace(TREND, volume_before_per_week=np.nan, volume_change=np.nan)
    assert "too few ordinary weeks" in sentence("pain_rising", "left knee", unknown)


def test_pain_limit_names_the_day_and_the_limit():
    numbers = PainLimitNumbers(on=LAST_ON, pain=7, limit=6, n_days=2, recent_days=7)
    assert sentence("pain_limit", "left knee", numbers) == (
        "Pain of the left knee was 7 on 25 March 2026; the limit is 6. It reached the limit on 2 of the "
        "last 7 days."
    )


def test_unsettled_mornings_name_what_is_usual_and_what_is_missing():
    numbers = SettlingNumbers(newest_on=LAST_ON, newest_morning=4, usual_morning=1, n_above=2, n_missing=1)
    assert sentence("pain_unsettled", "left knee", numbers) == (
        "The left knee had not settled on the last 2 reported mornings after training: 4 after 25 March "
        "2026, against a usual morning of 1.0. 1 morning of the last fortnight not reported, so not known."
    )


def test_a_stalled_lift_is_held_against_what_was_to_be_expected():
    text = sentence("stalled_lift", "leg press, left", LIFT)
    assert "+0.1% a week (98% interval -0.2% to +0.4%), below the +1.00% a week" in text
    assert "18 comparable exposures from 1 January 2026 to 25 March 2026; 3 left out" in text


def test_a_regressing_lift_names_its_fall_and_the_noise():
    text = sentence("regressing_lift", "leg press, left", LIFT)
    assert "7.1% below that of the first ones; from 5.2% it is more than measurement noise" in text


def test_off_plan_gives_both_bounds():
    assert sentence("off_plan", "", PLAN) == (
        "Did at most 50% of what 4 sessions in the last 10 days asked for, 25% if nothing unlogged was done. "
        "1 session without a log."
    )


def test_unlogged_says_that_it_is_not_known():
    assert "may or may not have been done" in sentence("unlogged", "", PLAN)


def test_over_dose_names_both_sums():
    numbers = OverDoseNumbers(days=14, completed_joint_reps=260, prescribed_joint_reps=180, ratio=260 / 180)
    assert sentence("over_dose", "left knee", numbers) == (
        "The left knee did 260 joint reps in 14 days, 180 were prescribed (144%)."
    )


def test_who_never_posted_is_said_to_have_never_posted():
    numbers = SilenceNumbers(days_since_post=None, days=7, n_due=1)
    assert (
        sentence("silent", "", numbers) == "Has never posted, although 1 session was due in the last 7 days."
    )


@pytest.mark.parametrize("kind", ["pain_with_volume", "pain_rising"])
def test_no_sentence_speaks_of_risk_or_injury(kind: str):
    text = sentence(kind, "left knee", TREND).lower()
    assert not any(word in text for word in ("risk", "probab", "injur", "diagnos"))


def test_a_kind_with_foreign_numbers_is_refused():
    with pytest.raises(ValueError, match="kind must fit its numbers, got silent with LiftNumbers"):
        sentence("silent", "", LIFT)


def test_the_caution_says_what_the_service_is_not():
    assert "not a medical device" in CAUTION and "no diagnosis" in CAUTION and "no clearance" in CAUTION


def test_refer_out_names_the_number_or_the_local_one():
    assert "call 112" in refer_out("112")
    assert "call your local emergency number" in refer_out()


def test_pain_trend_numbers_carry_dates():
    days = np.arange(84)
    pain = np.where(days % 2 == 0, np.round(2 + np.maximum(0, days - 55) / 7), np.nan)[None, :]
    joint_reps = np.where(days % 2 == 0, 30.0 + np.maximum(0, days - 55), 0.0)[None, :]
    found = describe_pain_trend(assess_sites(pain, joint_reps), 0, LAST_ON)
    assert (found.from_on, found.to_on) == (date(2026, 1, 1), LAST_ON)
    assert date(2026, 2, 15) <= found.onset_on <= date(2026, 3, 5)


def test_pain_limit_numbers_carry_the_day():
    found = find_over_limit(np.array([[1.0, 7.0, 2.0]]), np.array([np.nan]))
    assert describe_pain_limit(found, 0, LAST_ON, n_days=3).on == date(2026, 3, 24)


def test_settling_numbers_carry_the_day():
    mornings = np.array([[1.0] * 20 + [4.0, 4.0, np.nan]])
    found = assess_settling(mornings, np.ones((1, 23)), recent_days=7)
    numbers = describe_settling(found, 0, LAST_ON, n_days=23)
    assert (numbers.newest_on, numbers.n_above, numbers.n_missing) == (date(2026, 3, 24), 2, 1)


def test_lift_numbers_carry_dates():
    days = LAST_ON.toordinal() - np.arange(0, 80, 4.0)[None, ::-1]
    found = assess_lifts(
        days,
        np.full_like(days, 100.0),
        np.ones(days.shape, dtype=bool),
        np.array(["novice"]),
        as_of_day=LAST_ON.toordinal(),
        increment_kg=np.array([2.5]),
    )
    numbers = describe_lift(found, 0)
    assert (numbers.to_on, numbers.n_exposures, numbers.interval) == (LAST_ON, 20, 0.98)


def test_adherence_and_silence_numbers_carry_the_bounds():
    nothing = np.full(3, np.nan)
    sessions = ScheduledSessions(
        client=np.zeros(3, dtype=np.int64),
        due_day=np.array([91, 93, 96]),
        state=np.full(3, "unknown"),
        done_day=nothing,
        prescribed_sets=np.full(3, 6.0),
        completed_sets=nothing,
        prescribed_reps=np.full(3, 60.0),
        completed_reps=nothing,
        prescribed_volume_kg=nothing,
        completed_volume_kg=nothing,
        has_reached_effort=nothing,
        is_excused=np.zeros(3, dtype=bool),
    )
    found = assess_adherence(sessions, n_clients=1, as_of_day=100, days_since_post=np.array([12.0]))
    assert describe_adherence(found, 0) == AdherenceNumbers(10, 3, 0.0, 1.0, 3)
    assert describe_silence(found, 0, 12.0) == SilenceNumbers(12, 7, 1)


def test_over_dose_numbers_carry_the_window():
    found = assess_over_dose(np.full((1, 14), 15.0), np.full((1, 14), 10.0), np.array([True]))
    assert describe_over_dose(found, 0) == OverDoseNumbers(14, 210.0, 140.0, 1.5)
