"""Storing what a file of pain reports says, with the checks and the writing of a single report."""

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from coaching.errors import FieldFault, ForbearError, TrailError
from coaching.models import Actor, Client, PainReport, Session
from coaching.operations.entries import FIRST_INSTANT, PainEntry, content_hash
from coaching.operations.import_clients import Named, clients_named, refusals
from coaching.operations.import_links import ASKED_AT_ONCE
from coaching.operations.import_rows import UNNAMED, PainRow, RowProblem
from coaching.operations.imports import AS_IT_IS, Asked, Tell, tell_nobody
from coaching.operations.pain import LATEST_AHEAD, record_new_pain_reports

BATCH = 200


@dataclass(frozen=True, slots=True)
class ImportedPain:
    """What became of a file of pain reports; if nothing was written, `new` are those that would have been."""

    rows: int
    bad_rows: int
    reports_new: int
    reports_standing: int
    reports_refused: int
    urgent: int
    is_written: bool
    problems: tuple[RowProblem, ...]

    @property
    def has_good(self) -> bool:
        return bool(self.reports_new or self.reports_standing)


@dataclass(frozen=True, slots=True)
class _Report:
    line: int
    client: Client
    entry: PainEntry


def import_pain_reports(
    *,
    actor: Actor,
    rows: Sequence[PainRow],
    now: datetime,
    asked: Asked = AS_IT_IS,
    tell: Tell = tell_nobody,
) -> ImportedPain:
    """Check every row, then store the reports that are new; nothing while any is bad, unless bad are skipped.

    Safe to repeat: a report's id stands in the file or follows from it.
    """
    reports, problems = _checked(actor, rows, now, asked)
    fresh, conflicts = _compared(actor, reports)
    problems += conflicts
    is_written = not asked.is_dry_run and (asked.skips_bad or not problems)
    n_urgent = 0
    n_new = len(fresh)
    if is_written:
        n_urgent, failed = _store(actor, fresh, now, tell)
        problems += failed
        n_new -= len(failed)
    bad_rows = len({problem.line for problem in problems})
    return ImportedPain(
        rows=len(rows),
        bad_rows=bad_rows,
        reports_new=n_new,
        reports_standing=len(reports) - len(fresh) - len(conflicts),
        reports_refused=bad_rows,
        urgent=n_urgent,
        is_written=is_written,
        problems=tuple(sorted(problems, key=lambda problem: problem.line)),
    )


def _checked(
    actor: Actor, rows: Sequence[PainRow], now: datetime, asked: Asked
) -> tuple[list[_Report], list[RowProblem]]:
    named = clients_named(actor, dict.fromkeys(row.client for row in rows), asked.only)
    sessions = _sessions_there(actor, rows)
    problems = [problem for row in rows for problem in row.problems]
    refused = refusals(_first_lines(rows, named))
    problems += refused.values()
    reports: list[_Report] = []
    for row in rows:
        client = named[row.client]
        if isinstance(client, FieldFault):
            if row.entry is not None:
                problems.append(RowProblem(row.line, "client", client.code, client.detail))
            continue
        if row.entry is None or client.id in refused:
            continue
        entry, found = _linked(row.entry, row.line, client, sessions, asked)
        if not FIRST_INSTANT <= entry.reported_at <= now + LATEST_AHEAD:
            detail = "Before 1990 or more than a day in the future."
            found.append(RowProblem(row.line, "reported_at", "out_of_range", detail))
        problems += found
        if not found:
            reports.append(_Report(row.line, client, replace(entry, uid=_uid_of(client, entry))))
    return reports, problems


def _first_lines(rows: Sequence[PainRow], named: Named) -> dict[Client, int]:
    lines: dict[Client, int] = {}
    for row in rows:
        client = named[row.client]
        if isinstance(client, Client):
            lines.setdefault(client, row.line)
    return lines


def _sessions_there(actor: Actor, rows: Sequence[PainRow]) -> dict[uuid.UUID, int]:
    """Whose each session is that the rows name and that is kept."""
    uids = list({row.entry.session_uid for row in rows if row.entry and row.entry.session_uid})
    found: dict[uuid.UUID, int] = {}
    for start in range(0, len(uids), ASKED_AT_ONCE):
        some = uids[start : start + ASKED_AT_ONCE]
        kept = Session.objects.filter(practice_id=actor.practice_id, uid__in=some).kept()
        found |= dict(kept.values_list("uid", "client_id"))
    return found


def _linked(
    entry: PainEntry, line: int, client: Client, sessions: dict[uuid.UUID, int], asked: Asked
) -> tuple[PainEntry, list[RowProblem]]:
    if entry.session_uid is None or sessions.get(entry.session_uid) == client.id:
        return entry, []
    if asked.leaves_out_links:
        return replace(entry, session_uid=None), []
    detail = "This client has no such session: bring the sessions in first."
    return entry, [RowProblem(line, "session", "unknown", detail)]


def _uid_of(client: Client, entry: PainEntry) -> uuid.UUID:
    if entry.uid != UNNAMED:
        return entry.uid
    when = entry.reported_at.astimezone(UTC).isoformat()
    of = f"{client.uid}:{when}:{entry.joint}:{entry.side}:{entry.other_site}:{entry.moment}"
    return uuid.uuid5(client.practice.uid, f"file of pain reports:{of}")


def _compared(actor: Actor, reports: Sequence[_Report]) -> tuple[list[_Report], list[RowProblem]]:
    """Those that do not stand yet, and a problem for each whose id is used for other content."""
    fresh: list[_Report] = []
    problems: list[RowProblem] = []
    seen: set[uuid.UUID] = set()
    for start in range(0, len(reports), ASKED_AT_ONCE):
        some = reports[start : start + ASKED_AT_ONCE]
        found = PainReport.objects.filter(
            practice_id=actor.practice_id, uid__in=[report.entry.uid for report in some]
        ).select_related("session")
        standing = {row.uid: row for row in found}
        for report in some:
            row = standing.get(report.entry.uid)
            if report.entry.uid in seen:
                detail = "The id of this report stands twice in the file."
                problems.append(RowProblem(report.line, "pain_report", "repeated", detail))
            elif row is None:
                fresh.append(report)
            elif row.client_id != report.client.id or not _is_same(row, report.entry):
                detail = "Other content stands under this id."
                problems.append(RowProblem(report.line, "", "conflict", detail))
            seen.add(report.entry.uid)
    return fresh, problems


def _is_same(row: PainReport, entry: PainEntry) -> bool:
    """Whether it came alone or within its session makes no difference to what was said."""
    standing = PainEntry(
        uid=row.uid,
        joint=row.joint,
        side=row.side,
        other_site=row.other_site,
        moment=row.moment,
        pain=row.pain,
        symptoms=row.symptoms,
        note=row.note,
        reported_at=row.reported_at,
        session_uid=row.session.uid if row.session else None,
        explanation=row.explanation,
    )
    return content_hash(standing) == content_hash(entry)


def _store(
    actor: Actor, reports: Sequence[_Report], now: datetime, tell: Tell
) -> tuple[int, list[RowProblem]]:
    """How much was urgent, and what changed since the check; one client's batch is stored whole or not."""
    by_client: defaultdict[Client, list[_Report]] = defaultdict(list)
    for report in reports:
        by_client[report.client].append(report)
    n_urgent = n_done = 0
    problems: list[RowProblem] = []
    for client, its in by_client.items():
        its.sort(key=lambda report: report.entry.reported_at)
        for start in range(0, len(its), BATCH):
            some = its[start : start + BATCH]
            entries = [report.entry for report in some]
            try:
                notices = record_new_pain_reports(actor=actor, client=client, entries=entries, now=now)
                n_urgent += len(notices)
            except TrailError:
                raise
            except ForbearError as error:
                problems += (RowProblem(report.line, "", error.code, error.detail) for report in some)
            n_done += len(some)
            tell(n_done, len(reports))
    return n_urgent, problems
