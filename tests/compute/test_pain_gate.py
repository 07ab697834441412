"""The pain gate over the last two exposures."""

import pytest

from coaching.compute.pain_gate import ExposurePain, PainGate, pain_gate

CALM = ExposurePain(during=3, after=2, next_morning=1)


def gate(*exposures: ExposurePain, usual_morning: float | None = 1, **kwargs: float) -> PainGate:
    return pain_gate(exposures, usual_morning=usual_morning, **kwargs)


def test_two_calm_exposures_pass():
    assert gate(CALM, CALM) == PainGate("passed", "")


def test_pain_of_five_is_still_allowed():
    assert gate(CALM, ExposurePain(5, 5, 1)).verdict == "passed"


@pytest.mark.parametrize(
    ("exposure", "reason"),
    [
        (ExposurePain(6, 2, 1), "pain_during"),
        (ExposurePain(3, 6, 1), "pain_after"),
        (ExposurePain(3, 2, 3), "not_settled"),
    ],
)
def test_one_exposure_that_breaks_a_rule_fails(exposure: ExposurePain, reason: str):
    assert gate(CALM, exposure) == PainGate("failed", reason)
    assert gate(exposure, CALM) == PainGate("failed", reason)


def test_a_morning_one_above_the_usual_passes():
    assert gate(CALM, ExposurePain(3, 2, 2)).verdict == "passed"


def test_a_missing_morning_is_unknown_not_passed():
    assert gate(CALM, ExposurePain(3, 2, None)) == PainGate("unknown", "no_next_morning")


def test_a_failure_outweighs_a_missing_morning():
    assert gate(ExposurePain(7, None, None), ExposurePain(3, 2, None)).verdict == "failed"


def test_no_report_at_all_is_unknown():
    assert gate(CALM, ExposurePain(None, None, 1)) == PainGate("unknown", "no_report")


def test_one_exposure_is_too_few():
    assert gate(CALM) == PainGate("unknown", "few_exposures")


def test_no_exposure_is_too_few():
    assert gate() == PainGate("unknown", "few_exposures")


def test_older_exposures_do_not_count():
    assert gate(ExposurePain(9, 9, 9), CALM, CALM).verdict == "passed"


def test_a_week_that_rises_fails():
    assert gate(CALM, CALM, is_week_rising=True) == PainGate("failed", "week_rising")


def test_an_unknown_usual_morning_passes_only_a_low_one():
    assert gate(CALM, CALM, usual_morning=None).verdict == "passed"
    assert gate(CALM, ExposurePain(3, 2, 2), usual_morning=None) == PainGate("unknown", "no_usual_morning")


def test_a_clients_own_limit_is_kept():
    assert gate(CALM, ExposurePain(4, 2, 1), limit=4) == PainGate("failed", "pain_during")


def test_a_limit_above_six_is_read_as_six():
    assert gate(CALM, ExposurePain(6, 2, 1), limit=9).verdict == "failed"


def test_pain_above_ten_is_refused():
    with pytest.raises(ValueError, match=r"exposures must lie in 0 to 10 or be missing, got 12\.0"):
        gate(CALM, ExposurePain(12, 2, 1))
