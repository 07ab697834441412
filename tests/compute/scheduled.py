"""Scheduled sessions for the tests of adherence, written as short stories."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.adherence import AdherenceAssessments, assess_adherence
from coaching.compute.scheduled_sessions import DONE, ScheduledSessions

TODAY = 100


@dataclass(frozen=True)
class Due:
    """One session of one client; share = completed share of what was prescribed."""

    day: int
    state: str = DONE
    share: float = 1.0
    days_late: int = 0
    client: int = 0
    is_excused: bool = False
    effort: float = np.nan


def sessions(*due: Due) -> ScheduledSessions:
    share = np.array([s.share if s.state == DONE else np.nan for s in due])
    return ScheduledSessions(
        client=np.array([s.client for s in due], dtype=np.int64),
        due_day=np.array([s.day for s in due], dtype=np.int64),
        state=np.array([s.state for s in due], dtype=str),
        done_day=np.array([s.day + s.days_late if s.state == DONE else np.nan for s in due]),
        prescribed_sets=np.full(len(due), 6.0),
        completed_sets=6 * share,
        prescribed_reps=np.full(len(due), 60.0),
        completed_reps=60 * share,
        prescribed_volume_kg=np.full(len(due), 3000.0),
        completed_volume_kg=3000 * share,
        has_reached_effort=np.array([s.effort for s in due]),
        is_excused=np.array([s.is_excused for s in due], dtype=bool),
    )


def assess(*due: Due, n_clients: int = 1, days_since_post: float = 0) -> AdherenceAssessments:
    return assess_adherence(
        sessions(*due),
        n_clients=n_clients,
        as_of_day=TODAY,
        days_since_post=np.full(n_clients, days_since_post),
    )
