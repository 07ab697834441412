"""How far a client's stated reserve was off, on sets that then went to failure; shown, never applied."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

from coaching.compute.effort import RIR_BIAS_VERSION, rir_bias
from coaching.models import EndedBy, LoggedSet
from coaching.reads.computed import Computed, computed_over

WINDOW_DAYS = 365
MIN_SETS = 5
METHOD = "limits_of_agreement"


@dataclass(frozen=True, slots=True)
class StatedReserve:
    """Repetitions still done after the guess minus those stated; above 0 = had more left than said.

    95 % of single guesses lie from `low_reps` to `high_reps`. Below `min_sets` sets no number is given.
    """

    mean_reps: float | None
    low_reps: float | None
    high_reps: float | None
    n_sets: int
    min_sets: int
    computed: Computed


def stated_reserve(client_id: int, until_on: date) -> StatedReserve:
    """The client's bias over the year that ends with `until_on`, in one query."""
    rows = list(
        LoggedSet.objects.filter(
            session__client_id=client_id,
            session__deleted_at__isnull=True,
            session__performed_on__gt=until_on - timedelta(days=WINDOW_DAYS),
            session__performed_on__lte=until_on,
            ended_by=EndedBy.FAILURE,
            guessed_rir__isnull=False,
        ).values_list("guessed_rir", "reps", "guessed_after_reps")
    )
    found = rir_bias(
        [float(guessed or 0) for guessed, _, _ in rows],
        [float((reps or 0) - (after or 0)) for _, reps, after in rows],
    )
    is_enough = found.n >= MIN_SETS
    return StatedReserve(
        mean_reps=_number(found.mean_bias) if is_enough else None,
        low_reps=_number(found.low) if is_enough else None,
        high_reps=_number(found.high) if is_enough else None,
        n_sets=found.n,
        min_sets=MIN_SETS,
        computed=computed_over(METHOD, RIR_BIAS_VERSION, until_on, WINDOW_DAYS),
    )


def _number(value: float) -> float | None:
    return None if isnan(value) else value
