"""The bench of cohorts: what its clients are like, and that its numbers are the night's and repeatable."""

import io
import json
from itertools import pairwise

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from coaching.bench.adherence import _found
from coaching.bench.cohorts import FLARE_KINDS, KINDS, QUIET_KINDS, generate
from coaching.bench.likelihood import likelihood_ratios
from coaching.bench.measures import found_within, openings_per_year, threshold_for
from coaching.bench.rules import OUR_THRESHOLD, OURS, RULES, score_cohort, workload_ratios
from coaching.bench.schedules import (
    HALVINGS,
    PLAN_KINDS,
    QUIET_PLANS,
    as_known,
    days_since_log,
    generate_schedules,
)
from coaching.compute.workload import rolling_ratio
from coaching.exchange.replay import see_pain_nights


def run(*options):
    out = io.StringIO()
    call_command("alarm_quality", *options, stdout=out, stderr=io.StringIO())
    return out.getvalue()


@pytest.fixture(scope="module")
def measured():
    return json.loads(run("--size", "20", "--seed", "3", "--json"))


def test_every_rule_is_measured(measured):
    assert [result["rule"] for result in measured["pain"]] == list(RULES)
    assert {(result["rule"], result["status"]) for result in measured["lifts"]} == {
        (rule, status)
        for rule in ("stalled_lift", "days_without_new_best", "told_all")
        for status in ("novice", "intermediate")
    }


def test_no_rule_is_wrong_more_often_than_ours(measured):
    ours = measured["pain"][0]["false_per_year"]
    assert all(result["false_per_year"] <= ours for result in measured["pain"])


def test_what_is_told_all_flags_at_least_as_many_flares_as_any_textbook_rule(measured):
    share = {result["rule"]: result["found"]["flare"]["share"] for result in measured["pain"]}
    limit = share[measured["limit_rule"]]
    assert limit >= 0.8
    assert all(
        share[rule] <= limit
        for rule in ("fixed_pain_level", "acute_chronic_ratio", "mann_kendall_with_volume")
    )


def test_our_rule_stays_within_sane_bounds(measured):
    ours = measured["pain"][0]
    assert (ours["rule"], ours["threshold"]) == (OURS, OUR_THRESHOLD)
    assert ours["false_per_year"] < 0.6
    assert ours["found"]["flare"]["share"] > 0.6
    assert measured["falling_called_rising"]["share"] > 0.6


def test_the_curves_run_from_few_false_alerts_to_more(measured):
    for result in measured["pain"]:
        rates = [point["false_per_year"] for point in result["curve"]]
        assert all(early <= later for early, later in pairwise(rates))


def test_who_halves_each_session_is_found_in_ten_days(measured):
    found = {each["kind"]: each["found"] for each in measured["adherence"]}
    assert set(found) == set(PLAN_KINDS)
    assert found["half_sets"]["share"] >= 0.8
    assert found["half_reps"]["share"] >= 0.8
    assert found["half_skipped"]["share"] >= 0.5
    assert found["half_unlogged"]["share"] >= 0.5
    assert all(found[kind] is None for kind in QUIET_PLANS)


def test_who_is_merely_a_day_late_is_never_off_plan(measured):
    rates = {each["kind"]: each["false_per_year"] for each in measured["adherence"]}
    assert rates["a_day_late"] == 0
    assert 0 < rates["steady"] < 7
    assert all(rates[kind] is None for kind in HALVINGS)


def test_the_same_seed_gives_the_same_numbers(measured):
    assert json.loads(run("--size", "20", "--seed", "3", "--json")) == measured


def test_the_table_names_every_rule():
    lines = run("--size", "10").splitlines()
    assert sum(line.startswith("ours: broken line") for line in lines) == 2
    assert any(line.startswith("ours: slope") for line in lines)
    assert any(line.startswith("always a day late") and "0.00" in line for line in lines)


@pytest.mark.parametrize("size", ["9", "2001", "many"])
def test_a_size_out_of_bounds_is_refused(size):
    with pytest.raises(CommandError, match="must be a whole number from 10 to 2000"):
        run("--size", size)


def test_the_score_from_our_threshold_on_is_the_night_as_it_runs():
    cohort = generate("flare", 20, seed=4)
    nights = see_pain_nights(cohort.pain, cohort.joint_reps)
    scored = score_cohort(cohort)
    assert nights.is_with_volume.any()
    assert np.array_equal(scored.scores[OURS] >= OUR_THRESHOLD, nights.is_with_volume)


def test_many_workload_ratios_are_those_of_one():
    daily = generate("blocks", 2, seed=4).joint_reps
    ratios = workload_ratios(daily)
    for day in (27, 28, 100, 279):
        assert ratios[1, day] == pytest.approx(rolling_ratio(daily[1, : day + 1]).ratio)


def test_the_likelihood_ratio_knows_nothing_of_later_days():
    series = np.random.default_rng(1).normal(0, 1, (3, 120))
    series[:, ::3] = np.nan
    told = {
        "day_correlation": np.full(3, 0.7),
        "noise_sd": np.ones(3),
        "slope_per_day": np.full(3, 0.1),
        "ramp_days": 42,
    }
    whole, until = likelihood_ratios(series, **told), likelihood_ratios(series[:, :90], **told)
    assert np.allclose(whole[:, :90], until)


def test_an_alert_opened_before_the_onset_is_no_detection():
    opens = np.zeros((2, 100), bool)
    opens[0, 40] = opens[1, 59] = True
    found = found_within(opens, np.array([50.0, 50.0]))
    assert (found.share, found.median_delay_days) == (0.5, 10.0)


def test_openings_of_the_first_84_days_do_not_count():
    opens = np.zeros((1, 84 + 365), bool)
    opens[0, [10, 83, 84, 200]] = True
    assert openings_per_year(opens) == pytest.approx(2, abs=0.01)


def test_a_threshold_keeps_the_rate_it_was_sought_for():
    scores = np.arange(1000.0)[None, :]
    assert threshold_for(lambda threshold: (scores >= threshold).mean(), scores, 0.1) == pytest.approx(
        900, abs=1
    )


@pytest.mark.parametrize("kind", KINDS)
def test_clients_report_whole_points_on_four_of_five_training_days(kind):
    cohort = generate(kind, 60, seed=5)
    reported = cohort.pain[~np.isnan(cohort.pain)]
    assert ((reported == np.round(reported)) & (reported >= 0) & (reported <= 10)).all()
    assert 0.78 <= reported.size / (cohort.joint_reps > 0).sum() <= 0.87


@pytest.mark.parametrize("kind", QUIET_KINDS)
def test_quiet_kinds_have_no_onset(kind):
    cohort = generate(kind, 10, seed=5)
    assert np.isnan(cohort.onset_day).all()
    assert not cohort.pain_per_week.any()


def around_onset(cohort, values):
    """Means of each client over the six weeks after the rise, and the twelve before the onset."""
    days = np.arange(values.shape[1])[None, :] - cohort.onset_day[:, None]
    after = np.nanmean(np.where((days >= 42) & (days < 84), values, np.nan), axis=1)
    before = np.nanmean(np.where((days < 0) & (days >= -84), values, np.nan), axis=1)
    return after, before


@pytest.mark.parametrize("kind", [*FLARE_KINDS, "falling_volume"])
def test_pain_climbs_after_an_onset(kind):
    cohort = generate(kind, 60, seed=5)
    after, before = around_onset(cohort, cohort.pain)
    assert np.mean(after - before) == pytest.approx(6 * cohort.pain_per_week.mean(), abs=0.5)


def test_volume_climbs_in_a_flare_and_falls_in_the_falling_kind():
    ratios = {}
    for kind in ("flare", "falling_volume"):
        cohort = generate(kind, 60, seed=5)
        after, before = around_onset(cohort, cohort.joint_reps)
        ratios[kind] = np.median(after / before)
    assert 1.07**6 < ratios["flare"] < 1.15**6
    assert 0.9**6 < ratios["falling_volume"] < 0.95**6


def test_a_holiday_is_three_weeks_without_training():
    trained = generate("holiday", 20, seed=5).joint_reps > 0
    idle = np.array([np.diff(np.nonzero(row)[0]).max() for row in trained])
    assert ((idle >= 22) & (idle <= 36)).all()


def done_share(schedules, values):
    """Sum of the values of each client's sessions after the change, over that before, each per day."""
    sessions, change = schedules.sessions, schedules.change_day
    is_after = sessions.due_day >= change[sessions.client]
    after, before = (values[chosen].sum() / len(values[chosen]) for chosen in (is_after, ~is_after))
    return after / before


@pytest.mark.parametrize("kind", HALVINGS)
def test_who_halves_does_half_from_the_change_on(kind):
    schedules = generate_schedules(kind, 100, seed=5)
    assert done_share(schedules, schedules.sessions.completed_reps) == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("kind", ["steady", "holiday_said"])
def test_the_others_miss_10_to_20_per_cent(kind):
    state = generate_schedules(kind, 100, seed=5).sessions.state
    assert (state != "done").mean() == pytest.approx(0.15, abs=0.02)


def test_a_night_does_not_know_of_logs_to_come():
    schedules = generate_schedules("a_day_late", 10, seed=5)
    due_on = int(schedules.sessions.due_day[50])
    for last_day, state in ((due_on, "unknown"), (due_on + 1, "done")):
        seen = as_known(schedules.sessions, last_day, look_back_days=28)
        assert set(seen.state[seen.due_day == due_on]) == {state}
        assert (seen.due_day > last_day - 28).all()
    assert np.nanmin(days_since_log(schedules, due_on)) >= 0


def test_before_the_first_log_no_days_are_counted_since():
    assert np.isnan(days_since_log(generate_schedules("a_day_late", 5, seed=5), 0)).all()


def test_who_was_on_the_sheet_before_the_change_counts_neither_way():
    stands = np.zeros((3, 60), bool)
    stands[0, 20:50] = stands[1, 35:50] = True
    found = _found(stands, np.full(3, 30.0))
    assert (found.share, found.median_delay_days) == (0.5, 6.0)
    assert np.isnan(_found(stands[:1], np.full(1, 30.0)).share)


def test_the_trade_off_is_drawn_as_a_picture(tmp_path):
    run("--size", "10", "--picture", str(tmp_path / "trade_off.png"))
    assert (tmp_path / "trade_off.png").read_bytes().startswith(b"\x89PNG")


def test_a_picture_into_a_folder_that_is_not_there_is_refused_before_the_work(tmp_path):
    with pytest.raises(CommandError, match="There is no folder"):
        run("--picture", str(tmp_path / "nowhere" / "trade_off.png"))
