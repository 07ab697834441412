"""One client's adherence by ISO week, with bounds for what nobody logged."""

from dataclasses import dataclass
from datetime import date
from math import isnan

from coaching.compute.adherence_weeks import weekly_adherence
from coaching.models import ScheduledSession
from coaching.reads.adherence import scheduled_against_logs
from coaching.reads.computed import Computed, computed_adherence
from coaching.reads.history import ClientHistory, client_history, weeks_until


@dataclass(frozen=True, slots=True)
class AdherenceWeek:
    """The sessions scheduled for one ISO week; scores are None where none of them counts.

    `low` takes a session without a log as not done, `high` as done in full. A late one was done after its
    grace days and scores 0; a pending one may still be logged in time and does not count yet.
    """

    starts_on: date
    low: float | None
    high: float | None
    done: int
    late: int
    not_done: int
    unknown: int
    pending: int
    excused: int

    @property
    def counted(self) -> int:
        return self.done + self.late + self.not_done + self.unknown


@dataclass(frozen=True, slots=True)
class AdherenceWeeks:
    """Oldest first; the newest week ends with `until_on` and may be a part of a week."""

    until_on: date
    weeks: tuple[AdherenceWeek, ...]

    @property
    def computed(self) -> Computed:
        return computed_adherence(self.weeks[0].starts_on, self.until_on)

    @property
    def is_empty(self) -> bool:
        return not any(week.counted or week.pending or week.excused for week in self.weeks)


@dataclass(frozen=True, slots=True)
class WholeHistory:
    """What a client's joints and lifts went through, and beside it what of the plan was done."""

    history: ClientHistory
    adherence: AdherenceWeeks


def whole_history(client_id: int, until_on: date, weeks: int, *, with_private: bool) -> WholeHistory:
    """The same weeks of both; the number of queries is constant."""
    return WholeHistory(
        client_history(client_id, until_on, weeks, with_private=with_private),
        adherence_weeks(client_id, until_on, weeks),
    )


def adherence_weeks(client_id: int, until_on: date, weeks: int = 16) -> AdherenceWeeks:
    """Every session due in the weeks, as it stands on `until_on`; the number of queries is constant."""
    starts = weeks_until(until_on, weeks)
    rows = list(
        ScheduledSession.objects.filter(client_id=client_id, due_on__range=(starts[0], until_on)).order_by(
            "due_on", "id"
        )
    )
    found = weekly_adherence(
        scheduled_against_logs(rows, client_rows={client_id: 0}, last_day=until_on),
        first_day=starts[0].toordinal(),
        n_weeks=weeks,
        as_of_day=until_on.toordinal(),
    )
    return AdherenceWeeks(
        until_on,
        tuple(
            AdherenceWeek(
                starts_on=start,
                low=_score(found.score_low[place]),
                high=_score(found.score_high[place]),
                done=int(found.n_done[place]),
                late=int(found.n_late[place]),
                not_done=int(found.n_not_done[place]),
                unknown=int(found.n_unknown[place]),
                pending=int(found.n_pending[place]),
                excused=int(found.n_excused[place]),
            )
            for place, start in enumerate(starts)
        ),
    )


def _score(value: float) -> float | None:
    return None if isnan(value) else float(value)
