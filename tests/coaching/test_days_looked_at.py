"""Every finding of a night keeps the days that its numbers are of."""

from datetime import date

import pytest

from coaching.compute.findings import (
    AdherenceNumbers,
    OverDoseNumbers,
    PainLimitNumbers,
    SettlingNumbers,
    SilenceNumbers,
)
from coaching.models import Alert
from coaching.operations.findings import days_looked_at
from coaching.reads.computed import Computed, computed_of_alert

LAST_DAY = date(2026, 3, 1)


@pytest.mark.parametrize(
    ("numbers", "from_on"),
    [
        (PainLimitNumbers(on=LAST_DAY, pain=7, limit=6, n_days=1, recent_days=7), "2026-02-23"),
        (SettlingNumbers(LAST_DAY, 4, 1, 2, 0), "2025-12-22"),
        (AdherenceNumbers(days=10, n_sessions=4, score_low=0, score_high=0, n_unknown=0), "2026-02-20"),
        (OverDoseNumbers(14, 210, 140, 1.5), "2026-02-16"),
        (SilenceNumbers(days_since_post=9, days=7, n_due=3), "2026-02-23"),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, str) else "",
)
def test_days_end_with_the_last_one_that_the_night_saw(numbers, from_on):
    assert days_looked_at(numbers, LAST_DAY) == {"from_on": from_on, "to_on": "2026-03-01"}


def test_two_methods_of_a_red_flag_are_one_name_and_one_version():
    days = {"from_on": "2026-02-20", "to_on": "2026-03-01"}
    alert = Alert(method="coded_symptoms and pain_jump 1", evidence=days)
    assert computed_of_alert(alert) == Computed(
        "coded_symptoms and pain_jump", "1", date(2026, 2, 20), LAST_DAY
    )
