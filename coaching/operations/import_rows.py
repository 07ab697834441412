"""What a row of a file says, as read and before it is looked at beside the practice's records."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from coaching.operations.entries import PainEntry
from coaching.reads.plans import PlanContent

UNNAMED = uuid.UUID(int=0)  # of a report whose file leaves its id out


@dataclass(frozen=True, slots=True)
class RowProblem:
    """What is wrong with one row: its line in the file, its column (empty: the whole row), code, sentence."""

    line: int
    column: str
    code: str
    detail: str


@dataclass(frozen=True, slots=True)
class SetContent:
    exercise_code: str
    kind: str
    side: str
    load_thousandths: int
    load_unit: str
    reps: int | None
    duration_s: int | None
    rir: float | None
    ended_by: str
    tempo: str
    guessed_rir: float | None
    guessed_after_reps: int | None
    uid: uuid.UUID | None = None
    position: int | None = None
    rest_s: int | None = None
    follows_previous: bool = False
    prescription_uid: uuid.UUID | None = None
    is_to_confirm: bool | None = None


@dataclass(frozen=True, slots=True)
class SessionSaid:
    """What a row says of its session as a whole; every row of one session says the same."""

    uid: uuid.UUID | None = None
    ended_at: datetime | None = None
    session_rpe: float | None = None
    note: str = ""
    scheduled_session_uid: uuid.UUID | None = None


@dataclass(frozen=True, slots=True)
class SetRow:
    """One row: whose set, when (an instant, or a date for noon of that day where the client lives), what.

    `performed_at` and `content` are None where the file does not say them rightly; `problems` then say why.
    A row without a set is a session without one.
    """

    line: int
    client: str
    performed_at: datetime | date | None
    content: SetContent | None
    problems: tuple[RowProblem, ...] = ()
    session: SessionSaid = SessionSaid()


@dataclass(frozen=True, slots=True)
class PainRow:
    """One pain report; `entry` is None where the file does not say it rightly."""

    line: int
    client: str
    entry: PainEntry | None
    problems: tuple[RowProblem, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanInFile:
    """One plan with all its versions, and the lines its parts stand on.

    `uid` is None where the file leaves it out. `versions` is empty where `problems` say why.
    """

    uid: uuid.UUID | None
    line: int
    versions: tuple["PlanVersionInFile", ...]
    problems: tuple[RowProblem, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanVersionInFile:
    """A version; ids (none, or one for each) and lines of its prescriptions are in the order of the plan."""

    content: PlanContent
    prescription_uids: tuple[uuid.UUID, ...]
    lines: tuple[int, ...]
