"""Rows of a file of sets beside the practice's records: who, what, when, and what stands already."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from coaching.errors import FieldFault
from coaching.models import Actor, Client, Measure, Session
from coaching.operations.entries import FIRST_INSTANT, MAX_SETS, SessionEntry, SetEntry, content_hash
from coaching.operations.import_clients import Named, clients_named, refusals
from coaching.operations.import_links import link_problems, taken_sets, without_unknown_links
from coaching.operations.import_rows import RowProblem, SetRow
from coaching.operations.sessions import LATEST_AHEAD
from coaching.reads.catalogue import exercises_known_to
from coaching.reads.sessions import with_content

COMPARED_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class FileSession:
    """The rows of one session: of one id, or else of one client and one `performed_at`, in their order."""

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
        """The one it is given, or else the same for the same file, wherever and however often it is read."""
        given = self.rows[0].session.uid
        if given is not None:
            return given
        when = self.performed_at
        if isinstance(when, datetime):
            when = when.astimezone(UTC)
        return uuid.uuid5(self.client.practice.uid, f"file of sets:{self.client.uid}:{when.isoformat()}")

    @property
    def sets(self) -> tuple[SetRow, ...]:
        return tuple(row for row in self.rows if row.content is not None)

    @property
    def lines(self) -> set[int]:
        return {row.line for row in self.rows}

    def entry(self) -> SessionEntry:
        uid, said = self.uid, self.rows[0].session
        return SessionEntry(
            uid=uid,
            performed_at=self.begins_at,
            ended_at=said.ended_at,
            session_rpe=said.session_rpe,
            note=said.note,
            scheduled_session_uid=said.scheduled_session_uid,
            sets=tuple(_set_entry(uid, position, row) for position, row in enumerate(self.sets, start=1)),
            pain_reports=(),
        )


@dataclass(frozen=True, slots=True)
class CheckedRows:
    """What may be stored: `fresh` sessions; how many stand already or are refused; every problem by line."""

    fresh: tuple[FileSession, ...]
    n_standing: int
    n_refused: int
    problems: tuple[RowProblem, ...]


def check_rows(
    *,
    actor: Actor,
    rows: Sequence[SetRow],
    now: datetime,
    only: Client | None = None,
    leaves_out_links: bool = False,
) -> CheckedRows:
    """Look at every row; nothing is written. A session is refused whole for one bad row.

    A bad row that does not say its time may belong to any session of its client, so it takes all along.
    """
    named = clients_named(actor, dict.fromkeys(row.client for row in rows), only)
    if leaves_out_links:
        rows = without_unknown_links(actor.practice_id, rows, named)
    sessions = _sessions(rows, named)
    problems, unfit = _problems(actor, rows, named, sessions, now)
    bad_lines = {problem.line for problem in problems}
    sound = [
        session for session in sessions if session.client.id not in unfit and not bad_lines & session.lines
    ]
    unknown, conflicts = _compared(actor, sound)
    taken = list(taken_sets(actor.practice_id, (row for session in unknown for row in session.rows)))
    lines_taken = {problem.line for problem in taken}
    fresh = tuple(session for session in unknown if not lines_taken & session.lines)
    n_standing = len(sound) - len(unknown) - len(conflicts)
    return CheckedRows(
        fresh=fresh,
        n_standing=n_standing,
        n_refused=len(sessions) - n_standing - len(fresh),
        problems=tuple(sorted([*problems, *conflicts, *taken], key=lambda problem: problem.line)),
    )


def _problems(
    actor: Actor, rows: Sequence[SetRow], named: Named, sessions: Sequence[FileSession], now: datetime
) -> tuple[list[RowProblem], set[int]]:
    """What is wrong before anything is compared, and the clients of whom nothing may be stored."""
    problems = [problem for row in rows for problem in row.problems]
    problems += _row_problems(actor, rows, named)
    problems += link_problems(actor.practice_id, rows, named)
    problems += (problem for session in sessions for problem in _session_problems(session, now))
    problems += _repeated(sessions)
    refused = refusals(_first_lines(sessions))
    problems += refused.values()
    untimed = {
        client.id
        for row in rows
        if row.performed_at is None and isinstance(client := named[row.client], Client)
    }
    return problems, untimed | refused.keys()


def _sessions(rows: Iterable[SetRow], named: Named) -> list[FileSession]:
    """The file's sessions by client, oldest first, so that a lift's best is known before what follows."""
    found: defaultdict[tuple[int, uuid.UUID | datetime | date], list[SetRow]] = defaultdict(list)
    clients: dict[int, Client] = {}
    for row in rows:
        client = named[row.client]
        if isinstance(client, Client) and row.performed_at is not None:
            clients[client.id] = client
            found[client.id, row.session.uid or row.performed_at].append(row)
    sessions = [
        FileSession(clients[key], its[0].performed_at, tuple(sorted(its, key=_position)))
        for (key, _), its in found.items()
        if its[0].performed_at is not None
    ]
    return sorted(sessions, key=lambda session: (session.client.id, session.begins_at))


def _position(row: SetRow) -> int:
    """Where the file says where; elsewhere the order of the rows stays."""
    return (row.content.position if row.content else None) or 0


def _first_lines(sessions: Iterable[FileSession]) -> dict[Client, int]:
    lines: dict[Client, int] = {}
    for session in sessions:
        first = min(row.line for row in session.rows)
        lines[session.client] = min(first, lines.get(session.client, first))
    return lines


def _row_problems(actor: Actor, rows: Iterable[SetRow], named: Named) -> Iterator[RowProblem]:
    measures = {row.code: row.measure for row in exercises_known_to(actor.practice_id)}
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
    first, begins_at = session.rows[0], session.begins_at
    if begins_at > now + LATEST_AHEAD:
        yield RowProblem(first.line, "performed_at", "in_the_future", "More than a day in the future.")
    elif begins_at < FIRST_INSTANT:
        yield RowProblem(first.line, "performed_at", "too_early", "Before 1990.")
    elif not isinstance(session.performed_at, datetime) and _day_there(session) != session.performed_at:
        detail = "The calendar where the client lives left this day out."
        yield RowProblem(first.line, "performed_at", "no_such_day", detail)
    ended_at = first.session.ended_at
    if ended_at is not None and ended_at < begins_at:
        yield RowProblem(first.line, "ended_at", "before_start", "The session ends before it starts.")
    if len(session.rows) > MAX_SETS:
        line = session.rows[MAX_SETS].line
        yield RowProblem(line, "", "too_many_sets", f"A session has at most {MAX_SETS} sets.")
    yield from _disagreements(session)


def _disagreements(session: FileSession) -> Iterator[RowProblem]:
    """Rows of one session that do not say the same of it, or that contradict one another."""
    first = session.rows[0]
    positions: set[int] = set()
    for row in session.rows:
        if row.performed_at != first.performed_at or row.session != first.session:
            detail = f"This row says something else of its session than line {first.line}."
            yield RowProblem(row.line, "session", "differs", detail)
        position = _position(row)
        if position in positions:
            yield RowProblem(row.line, "position", "repeated", "Two sets of this session have this position.")
        if position:
            positions.add(position)
        if row.content is None and not row.problems and len(session.rows) > 1:
            yield RowProblem(row.line, "exercise", "required", "This cell is empty.")


def _repeated(sessions: Iterable[FileSession]) -> Iterator[RowProblem]:
    seen: set[uuid.UUID] = set()
    for session in sessions:
        if session.uid in seen:
            detail = "The id of this session stands twice in the file."
            yield RowProblem(session.rows[0].line, "session", "repeated", detail)
        seen.add(session.uid)


def _day_there(session: FileSession) -> date:
    return session.begins_at.astimezone(UTC).astimezone(ZoneInfo(session.client.zone)).date()


def _compared(actor: Actor, sessions: Sequence[FileSession]) -> tuple[list[FileSession], list[RowProblem]]:
    """Those that do not stand yet, and a problem for each that stands with other content or was deleted."""
    fresh: list[FileSession] = []
    problems: list[RowProblem] = []
    for start in range(0, len(sessions), COMPARED_AT_ONCE):
        some = {session.uid: session for session in sessions[start : start + COMPARED_AT_ONCE]}
        found = Session.objects.filter(practice_id=actor.practice_id, uid__in=some.keys())
        standing = {row.uid: row for row in with_content(found)}
        for uid, session in some.items():
            row = standing.get(uid)
            if row is None:
                fresh.append(session)
            elif row.client_id != session.client.id:
                detail = "The id of this session is taken."
                problems.append(RowProblem(session.rows[0].line, "", "conflict", detail))
            elif row.deleted_at is not None:
                detail = "This session was stored before and has been deleted; its id stays gone."
                problems.append(RowProblem(session.rows[0].line, "", "gone", detail))
            elif not _is_same(row, session.entry()):
                detail = "This session stands with other content; edit it through the API."
                problems.append(RowProblem(session.rows[0].line, "", "conflict", detail))
    return fresh, problems


def _is_same(row: Session, entry: SessionEntry) -> bool:
    """As posted, or as it stands: a file of sets has no pain, and need not name what was linked since."""
    if row.content_hash == content_hash(entry):
        return True
    standing = _standing_entry(row)
    if entry.scheduled_session_uid is None:
        standing = replace(standing, scheduled_session_uid=None)
    return content_hash(standing) == content_hash(entry)


def _standing_entry(row: Session) -> SessionEntry:
    sets = tuple(
        SetEntry(
            uid=each.uid,
            exercise_code=each.exercise.code,
            kind=each.kind,
            side=each.side,
            load_thousandths=each.load_thousandths,
            load_unit=each.load_unit,
            reps=each.reps,
            duration_s=each.duration_s,
            rir=each.rir,
            ended_by=each.ended_by,
            tempo=each.tempo,
            rest_s=each.rest_s,
            follows_previous=each.follows_position is not None,
            prescription_uid=each.prescription.uid if each.prescription else None,
            guessed_rir=each.guessed_rir,
            guessed_after_reps=each.guessed_after_reps,
        )
        for each in row.sets.all()
    )
    scheduled = row.scheduled_session.uid if row.scheduled_session else None
    return SessionEntry(
        row.uid, row.performed_at, row.ended_at, row.session_rpe, row.note, scheduled, sets, ()
    )


def _set_entry(session_uid: uuid.UUID, position: int, row: SetRow) -> SetEntry:
    content = row.content
    if content is None:
        raise ValueError(f"line {row.line} was not read rightly and cannot be stored")
    return SetEntry(
        uid=content.uid or uuid.uuid5(session_uid, f"set {position}"),
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
        rest_s=content.rest_s,
        follows_previous=content.follows_previous,
        prescription_uid=content.prescription_uid,
        guessed_rir=content.guessed_rir,
        guessed_after_reps=content.guessed_after_reps,
        is_to_confirm=content.is_to_confirm,
    )
