"""What was logged for scheduled sessions, as arrays."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from coaching.models import Session
from coaching.reads.columns import columns, places_of
from coaching.reads.scheduled_rows import ScheduledRows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SessionLogs:
    """Logged sessions, one entry each, and what they come to for each scheduled session.

    Attributes:
        session_id: of each log; scheduled: which of the scheduled sessions it is of.
        done_day: ordinal of the first log of each scheduled session, nan where there is none.
        work_sets, work_reps: sums over the logs of each scheduled session.
    """

    session_id: Ints
    scheduled: Ints
    done_day: Floats
    work_sets: Floats
    work_reps: Floats


def session_logs(rows: ScheduledRows, *, last_day: date) -> SessionLogs:
    """In one query; several logs make one, from the first day on. Later logs do not exist yet."""
    logs = Session.objects.kept().filter(
        scheduled_session_id__any_of=rows.id.tolist(), performed_on__lte=last_day
    )
    own_id, scheduled_id, day, sets, reps = columns(
        logs, id=int, scheduled_session_id=int, performed_on=date, work_sets=int, work_reps=int
    )
    scheduled = places_of(scheduled_id, {each: place for place, each in enumerate(rows.id.tolist())})
    done_day = np.full(len(rows), np.inf)
    np.minimum.at(done_day, scheduled, day)
    return SessionLogs(
        session_id=own_id,
        scheduled=scheduled,
        done_day=np.where(np.isinf(done_day), np.nan, done_day),
        work_sets=np.bincount(scheduled, sets, minlength=len(rows)).astype(float),
        work_reps=np.bincount(scheduled, reps, minlength=len(rows)).astype(float),
    )
