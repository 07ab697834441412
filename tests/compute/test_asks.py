"""What a coach is asked to think of: questions with the client's own numbers, never advice or a diagnosis."""

import re
from dataclasses import replace
from datetime import date

import pytest

from coaching.compute.asks import RED_FLAG_ASKS, limit_asks, worth_asking
from coaching.compute.findings import (
    AdherenceNumbers,
    OverDoseNumbers,
    PainLimitNumbers,
    SettlingNumbers,
    SilenceNumbers,
)
from tests.compute.test_evidence import LIFT, PLAN, TREND

ON = date(2026, 3, 24)
LIMIT = PainLimitNumbers(on=ON, pain=7, limit=6, n_days=2, recent_days=14)
MORNINGS = SettlingNumbers(newest_on=ON, newest_morning=4, usual_morning=1.5, n_above=2, n_missing=3)
DOSE = OverDoseNumbers(days=14, completed_joint_reps=210, prescribed_joint_reps=140, ratio=1.5)
CASES = {
    "pain_with_volume": TREND,
    "pain_rising": TREND,
    "pain_limit": LIMIT,
    "pain_unsettled": MORNINGS,
    "stalled_lift": LIFT,
    "regressing_lift": LIFT,
    "off_plan": PLAN,
    "unlogged": PLAN,
    "over_dose": DOSE,
    "silent": SilenceNumbers(days_since_post=9, days=7, n_due=3),
}
ALL = {kind: worth_asking(kind, "left knee", numbers) for kind, numbers in CASES.items()} | {
    "red_flag": RED_FLAG_ASKS
}


@pytest.mark.parametrize("kind", ALL)
def test_each_is_one_question_to_the_coach(kind):
    assert 1 <= len(ALL[kind]) <= 3
    for ask in ALL[kind]:
        assert re.fullmatch(r"Worth (asking|considering): [a-z][^?.!]*\?", ask), ask


@pytest.mark.parametrize("kind", ALL)
def test_none_diagnoses_or_sends_anyone_through_pain(kind):
    text = " ".join(ALL[kind]).lower()
    for word in (
        "tendon",
        "tendin",
        "arthr",
        "strain",
        "tear",
        "injur",
        "inflam",
        "train through",
        "push",
        "probab",
        "risk",
    ):
        assert word not in text


def test_red_flag_is_asked_about_the_clinician_and_nothing_about_training():
    (ask,) = RED_FLAG_ASKS
    assert "licensed clinician" in ask and "emergency services" in ask
    for word in ("load", "reps", "exercise", "train", "volume"):
        assert word not in ask


def test_pain_with_volume_asks_what_changed_and_whether_volume_should_go_back():
    assert worth_asking("pain_with_volume", "left knee", replace(TREND, n_missing=0)) == (
        "Worth asking: what changed around 20 February 2026: exercises, load, sets, sleep, work?",
        "Worth considering: should weekly joint reps of the left knee go back to about 96, as in the "
        "ordinary weeks before, until the pain has settled?",
    )


def test_pain_that_is_not_reported_is_asked_for():
    assert ALL["pain_with_volume"][2] == (
        "Worth asking: how was the pain on the 4 training days without a report?"
    )
    one = worth_asking("pain_unsettled", "left knee", replace(MORNINGS, n_missing=1))
    assert one[2] == "Worth asking: how was the pain on the morning without a report?"


def test_rising_pain_asks_for_another_reason_than_volume():
    assert "other than volume" in ALL["pain_rising"][0] and "go back to" not in " ".join(ALL["pain_rising"])


def test_pain_at_its_limit_asks_for_a_stop_and_a_clinician():
    assert ALL["pain_limit"] == limit_asks("left knee", ON)
    assert "stop" in ALL["pain_limit"][1] and "licensed clinician" in ALL["pain_limit"][1]


def test_pain_that_does_not_settle_adds_nothing():
    assert "what was done on 24 March 2026" in ALL["pain_unsettled"][0]
    assert "add nothing for the left knee" in ALL["pain_unsettled"][1]


def test_stalled_lift_asks_for_the_untried_lever_and_life_outside():
    text = " ".join(ALL["stalled_lift"])
    assert "lever has not been tried" in text and "sleep, food, illness and attendance" in text


def test_regressing_lift_asks_since_when():
    assert "since 1 January 2026" in ALL["regressing_lift"][0]


def test_off_plan_asks_after_the_missing_logs_only_where_there_are_some():
    assert len(ALL["off_plan"]) == 3
    assert len(worth_asking("off_plan", "", replace(PLAN, n_unknown=0))) == 2


def test_unlogged_asks_whether_it_was_done_and_only_not_logged():
    many = AdherenceNumbers(days=10, n_sessions=4, score_low=0.25, score_high=0.9, n_unknown=3)
    assert ALL["unlogged"][0] == "Worth asking: was the session without a log done and only not logged?"
    assert worth_asking("unlogged", "", many)[0] == (
        "Worth asking: were the 3 sessions without a log done and only not logged?"
    )


def test_over_dose_names_what_was_done_and_prescribed():
    assert "210 joint reps of the left knee" in ALL["over_dose"][0]
    assert "the prescribed 140" in ALL["over_dose"][1]


def test_silence_over_one_session_speaks_of_one():
    assert "those 3 sessions" in ALL["silent"][1]
    one = SilenceNumbers(days_since_post=9, days=7, n_due=1)
    assert "that session" in worth_asking("silent", "", one)[1]


def test_numbers_of_another_kind_are_refused():
    with pytest.raises(ValueError, match="kind must fit its numbers, got silent with PainTrendNumbers"):
        worth_asking("silent", "", TREND)
