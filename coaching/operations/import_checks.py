"""Rows of a file of sets beside the practice's records: who, what, when, and what stands already."""

import unicodedata
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from coaching.errors import FieldFault, ForbearError
from coaching.models import Actor, Client, Measure, Session
from coaching.operations.entries import FIRST_INSTANT, MAX_SETS, SessionEntry, SetEntry, content_hash
from coaching.operations.import_rows import RowProblem, SetRow
from coaching.operations.sessions import LATEST_AHEAD
from coaching.operations.standing import check_may_store
from coaching.reads.catalogue import ExerciseFilter, exercises_known_to

COMPARED_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class FileSession:
    """The rows of one client and one `performed_at`, in the order of the file."""

    client: Client
    performed_at: datetime | date
    rows: tuple[SetRow, ...]

    @property
    def begins_at(self) -> datetime:
        if isinstance(self.performed_at, datetime):
            return self.performed_at
        return datetime.combine(self.performed_at, time(12), ZoneInfo(self.client.zone))

    @property
    def uid(self) -> uuid.UUID:
        """The same for the same file, wherever and however often it is read."""
        when = self.performed_at
        if isinstance(when, datetime):
            when = when.astimezone(UTC)
        return uuid.uuid5(self.client.practice.uid, f"file of sets:{self.client.uid}:{when.isoformat()}")

    def entry(self) -> SessionEntry:
        uid = self.uid
        return SessionEntry(
            uid=uid,
            performed_at=self.begins_at,
            ended_at=None,
            session_rpe=None,
            note="",
            scheduled_session_uid=None,
            sets=tuple(_set_entry(uid, position, row) for position, row in enumerate(self.rows, start=1)),
            pain_reports=(),
        )


@dataclass(frozen=True, slots=True)
class CheckedRows:
    """What may be stored: `fresh` sessions; how many stand already or are refused; every problem by line."""

    fresh: tuple[FileSession, ...]
    n_standing: int
    n_refused: int
    problems: tuple[RowProblem, ...]


def check_rows(*, actor: Actor, rows: Sequence[SetRow], now: datetime) -> CheckedRows:
    """Look at every row; nothing is written. A session is refused whole for one bad row.

    A bad row that does not say its time may belong to any session of its client, so it takes all along.
    """
    named = _clients_named(actor, {row.client for row in rows})
    sessions = _sessions(rows, named)
    problems = [problem for row in rows for problem in row.problems]
    problems += _row_problems(actor, rows, named)
    problems += (problem for session in sessions for problem in _session_problems(session, now))
    bad_lines = {problem.line for problem in problems}
    untimed = {
        client.id
        for row in rows
        if row.performed_at is None and isinstance(client := named[row.client], Client)
    }
    refusals = _refusals(sessions)
    problems += refusals.values()
    unfit = untimed | refusals.keys()
    sound = [
        session
        for session in sessions
        if session.client.id not in unfit and not any(row.line in bad_lines for row in session.rows)
    ]
    fresh, conflicts = _compared(actor, sound)
    return CheckedRows(
        fresh=tuple(fresh),
        n_standing=len(sound) - len(fresh) - len(conflicts),
        n_refused=len(sessions) - len(sound) + len(conflicts),
        problems=tuple(sorted([*problems, *conflicts], key=lambda problem: problem.line)),
    )


def _clients_named(actor: Actor, names: Iterable[str]) -> dict[str, Client | FieldFault]:
    """Whom each text means: an id of the practice's, or the name of one current client."""
    by_uid: dict[str, Client] = {}
    by_name: defaultdict[str, list[Client]] = defaultdict(list)
    for client in Client.objects.visible_to(actor).select_related("practice"):
        by_uid[str(client.uid)] = client
        if client.archived_at is None:
            by_name[unicodedata.normalize("NFC", client.name)].append(client)
    found: dict[str, Client | FieldFault] = {}
    for name in names:
        meant = [by_uid[name.lower()]] if name.lower() in by_uid else by_name.get(name, [])
        if len(meant) == 1:
            found[name] = meant[0]
        elif meant:
            detail = f"{len(meant)} clients bear this name; give the client's id."
            found[name] = FieldFault(("client",), "ambiguous", detail)
        else:
            found[name] = FieldFault(("client",), "unknown", "There is no such client.")
    return found


def _sessions(rows: Iterable[SetRow], named: dict[str, Client | FieldFault]) -> list[FileSession]:
    """The file's sessions by client, oldest first, so that a lift's best is known before what follows."""
    found: defaultdict[tuple[int, datetime | date], list[SetRow]] = defaultdict(list)
    clients: dict[int, Client] = {}
    for row in rows:
        client = named[row.client]
        if isinstance(client, Client) and row.performed_at is not None:
            clients[client.id] = client
            found[client.id, row.performed_at].append(row)
    sessions = [FileSession(clients[key], when, tuple(its)) for (key, when), its in found.items()]
    return sorted(sessions, key=lambda session: (session.client.id, session.begins_at))


def _row_problems(
    actor: Actor, rows: Iterable[SetRow], named: dict[str, Client | FieldFault]
) -> Iterator[RowProblem]:
    measures = {row.code: row.measure for row in exercises_known_to(actor.practice_id, ExerciseFilter())}
    for row in rows:
        client = named[row.client]
        is_laid_out = all(problem.column for problem in row.problems)
        if row.client and is_laid_out and isinstance(client, FieldFault):
            yield RowProblem(row.line, "client", client.code, client.detail)
        if row.content is None:
            continue
        measure = measures.get(row.content.exercise_code)
        if measure is None:
            yield RowProblem(row.line, "exercise", "unknown", "There is no such exercise.")
        elif (measure == Measure.DURATION) != (row.content.duration_s is not None):
            wanted = "duration_s" if measure == Measure.DURATION else "reps"
            yield RowProblem(row.line, wanted, "required", f"This exercise is counted in {wanted}.")


def _session_problems(session: FileSession, now: datetime) -> Iterator[RowProblem]:
    """What concerns the rows of a session together, told at the first row that it concerns."""
    first, begins_at = session.rows[0].line, session.begins_at
    if begins_at > now + LATEST_AHEAD:
        yield RowProblem(first, "performed_at", "in_the_future", "More than a day in the future.")
    elif begins_at < FIRST_INSTANT:
        yield RowProblem(first, "performed_at", "too_early", "Before 1990.")
    elif not isinstance(session.performed_at, datetime) and _day_there(session) != session.performed_at:
        detail = "The calendar where the client lives left this day out."
        yield RowProblem(first, "performed_at", "no_such_day", detail)
    if len(session.rows) > MAX_SETS:
        line = session.rows[MAX_SETS].line
        yield RowProblem(line, "", "too_many_sets", f"A session has at most {MAX_SETS} sets.")


def _day_there(session: FileSession) -> date:
    return session.begins_at.astimezone(UTC).astimezone(ZoneInfo(session.client.zone)).date()


def _refusals(sessions: Iterable[FileSession]) -> dict[int, RowProblem]:
    """The clients of whom nothing may be stored, each told once, at the client's first row."""
    lines: dict[int, int] = {}
    clients: dict[int, Client] = {}
    for session in sessions:
        key = session.client.id
        clients[key] = session.client
        lines[key] = min(session.rows[0].line, lines.get(key, session.rows[0].line))
    found: dict[int, RowProblem] = {}
    for key, client in clients.items():
        try:
            check_may_store(client)
        except ForbearError as error:
            found[key] = RowProblem(lines[key], "client", error.code, error.detail)
    return found


def _compared(actor: Actor, sessions: Sequence[FileSession]) -> tuple[list[FileSession], list[RowProblem]]:
    """Those that do not stand yet, and a problem for each that stands with other content or was deleted."""
    fresh: list[FileSession] = []
    problems: list[RowProblem] = []
    for start in range(0, len(sessions), COMPARED_AT_ONCE):
        some = {session.uid: session for session in sessions[start : start + COMPARED_AT_ONCE]}
        standing = {
            row.uid: row for row in Session.objects.filter(practice_id=actor.practice_id, uid__in=some.keys())
        }
        for uid, session in some.items():
            row = standing.get(uid)
            if row is None:
                fresh.append(session)
            elif row.deleted_at is not None:
                detail = "This session was imported before and has been deleted; its id stays gone."
                problems.append(RowProblem(session.rows[0].line, "", "gone", detail))
            elif row.content_hash != content_hash(session.entry()):
                detail = "This session stands with other content; edit it through the API."
                problems.append(RowProblem(session.rows[0].line, "", "conflict", detail))
    return fresh, problems


def _set_entry(session_uid: uuid.UUID, position: int, row: SetRow) -> SetEntry:
    content = row.content
    if content is None:
        raise ValueError(f"line {row.line} was not read rightly and cannot be stored")
    return SetEntry(
        uid=uuid.uuid5(session_uid, f"set {position}"),
        exercise_code=content.exercise_code,
        kind=content.kind,
        side=content.side,
        load_thousandths=content.load_thousandths,
        load_unit=content.load_unit,
        reps=content.reps,
        duration_s=content.duration_s,
        rir=content.rir,
        ended_by=content.ended_by,
        tempo=content.tempo,
        rest_s=None,
        follows_previous=False,
        prescription_uid=None,
        guessed_rir=content.guessed_rir,
        guessed_after_reps=content.guessed_after_reps,
    )
