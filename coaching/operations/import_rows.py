"""What a row of a file of sets says, as read and before it is looked at beside the practice's records."""

from dataclasses import dataclass
from datetime import date, datetime


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


@dataclass(frozen=True, slots=True)
class SetRow:
    """One row: whose set, when (an instant, or a date for noon of that day where the client lives), what.

    `performed_at` and `content` are None where the file does not say them rightly; `problems` then say why.
    """

    line: int
    client: str
    performed_at: datetime | date | None
    content: SetContent | None
    problems: tuple[RowProblem, ...] = ()
