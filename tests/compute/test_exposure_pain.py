"""The pain of one exposure by itself."""

import pytest

from coaching.compute.exposure_pain import has_passed_gate
from coaching.compute.pain_gate import ExposurePain


@pytest.mark.parametrize(
    ("exposure", "passed"),
    [
        (ExposurePain(5, 5, 2), True),
        (ExposurePain(6, 2, 1), False),
        (ExposurePain(3, 2, 3), False),
        (ExposurePain(7, None, None), False),
        (ExposurePain(3, 2, None), None),
        (ExposurePain(None, None, 1), None),
    ],
)
def test_one_exposure_passes_fails_or_is_not_known(exposure: ExposurePain, passed: bool | None):
    assert has_passed_gate(exposure, usual_morning=1) is passed


def test_a_clients_own_limit_is_kept():
    assert has_passed_gate(ExposurePain(4, 2, 1), usual_morning=1, limit=4) is False


def test_pain_above_ten_is_refused():
    with pytest.raises(ValueError, match="exposures must lie in 0 to 10"):
        has_passed_gate(ExposurePain(12, 2, 1), usual_morning=1)
