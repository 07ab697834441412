"""Scheduled sessions as arrays: what a calendar asks for, an entry for each session."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.db.models import QuerySet
from numpy.typing import NDArray

from coaching.models import ScheduledSession, ScheduledStatus
from coaching.reads.columns import Small, code_of, columns

EXCUSED = {ScheduledStatus.CANCELLED, ScheduledStatus.CLINICIAN_STOP}
_STATUSES = ScheduledStatus.values

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class ScheduledRows:
    """`due_day` is an ordinal, `status` a place in ScheduledStatus."""

    id: Ints
    client_id: Ints
    plan_day_id: Ints
    due_day: Ints
    status: Ints
    prescribed_sets: Ints
    prescribed_reps: Ints

    @classmethod
    def of(cls, rows: Sequence[ScheduledSession]) -> "ScheduledRows":
        cells = [
            (
                row.id,
                row.client_id,
                row.plan_day_id,
                row.due_on.toordinal(),
                _STATUSES.index(row.status),
                row.prescribed_sets,
                row.prescribed_reps,
            )
            for row in rows
        ]
        return cls(*np.array(cells, dtype=np.int64).reshape(-1, 7).T)

    @classmethod
    def read(cls, rows: QuerySet[ScheduledSession]) -> "ScheduledRows":
        """In one query."""
        asked = rows.annotate(status_code=code_of("status", _STATUSES))
        return cls(
            *columns(
                asked, id=int, client_id=int, plan_day_id=int, due_on=date, status_code=Small,
                prescribed_sets=int, prescribed_reps=int,
            )
        )  # fmt: skip

    def __len__(self) -> int:
        return len(self.id)

    @property
    def is_excused(self) -> NDArray[np.bool_]:
        return np.isin(self.status, [_STATUSES.index(status) for status in EXCUSED])

    @property
    def is_said_not_done(self) -> NDArray[np.bool_]:
        said: NDArray[np.bool_] = self.status == _STATUSES.index(ScheduledStatus.NOT_DONE)
        return said
