"""Pain reports: stored under their client-made ids, each with the training day it belongs to."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from coaching.errors import ConflictError, GoneError, InvalidError, NotFoundError
from coaching.models import Actor, ChangeKind, Client, PainMoment, PainReport, Session
from coaching.operations import rollups
from coaching.operations.audit import record_changes, record_reads
from coaching.operations.changes import Changed, note_changes
from coaching.operations.entries import FIRST_INSTANT, PainEntry, content_hash
from coaching.operations.standing import check_may_store, note_post
from coaching.operations.urgent import UrgentNotice, raise_what_cannot_wait
from coaching.reads.clients import client_for

LATEST_AHEAD = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class RecordedPain:
    report: PainReport
    is_new: bool
    urgent: tuple[UrgentNotice, ...] = ()


def record_pain_report(*, actor: Actor, client: Client, entry: PainEntry, now: datetime) -> RecordedPain:
    """Store one pain report under its client-made id. Safe to repeat; other content is a conflict."""
    try:
        return _record_once(actor, client, entry, now)
    except IntegrityError:
        # The same id came in by another request meanwhile: look again, once.
        return _record_once(actor, client, entry, now)


@transaction.atomic
def _record_once(actor: Actor, client: Client, entry: PainEntry, now: datetime) -> RecordedPain:
    check_may_store(client)
    standing = PainReport.objects.filter(practice_id=client.practice_id, uid=entry.uid).first()
    if standing is not None:
        if standing.client_id != client.id or standing.content_hash != content_hash(entry):
            raise ConflictError("Other content stands under this id.")
        return RecordedPain(standing, is_new=False)
    if entry.reported_at > now + LATEST_AHEAD or entry.reported_at < FIRST_INSTANT:
        raise InvalidError.at("reported_at", "out_of_range", "Before 1990 or more than a day in the future.")
    report = report_row(client=client, entry=entry, session=_session_of(client, entry), now=now)
    return RecordedPain(report, is_new=True, urgent=_store_new(actor, client, [report], now))


@transaction.atomic
def record_new_pain_reports(
    *, actor: Actor, client: Client, entries: Sequence[PainEntry], now: datetime
) -> tuple[UrgentNotice, ...]:
    """Store one client's reports, whose times are possible and ids new, all or none of them.

    Raises ConflictError for an id that is used, InvalidError for a session that is not there.
    """
    check_may_store(client)
    uids = {entry.session_uid for entry in entries if entry.session_uid is not None}
    found = Session.objects.filter(client=client, uid__in=uids).kept()
    sessions = {row.uid: row for row in found}
    if len(sessions) != len(uids):
        raise InvalidError.at("session", "unknown", "There is no such session.")
    reports = [
        report_row(
            client=client,
            entry=entry,
            session=sessions[entry.session_uid] if entry.session_uid else None,
            now=now,
        )
        for entry in entries
    ]
    return _store_new(actor, client, reports, now)


def _store_new(
    actor: Actor, client: Client, reports: Sequence[PainReport], now: datetime
) -> tuple[UrgentNotice, ...]:
    store_reports(reports)
    days = {report.felt_on for report in reports}
    rollups.rebuild_days(client=client, days=days)
    note_post(client=client, days=days, now=now)
    notices = raise_what_cannot_wait(client=client, reports=reports, now=now)
    record_changes(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="create",
        record_kind="pain_report",
        record_ids=[str(report.uid) for report in reports],
        now=now,
    )
    held_by = {report.session.uid for report in reports if report.session is not None}
    if held_by:
        changed = [Changed(client.id, ChangeKind.SESSION, uid) for uid in held_by]
        note_changes(practice_id=client.practice_id, changed=changed, now=now)
    return tuple(notices)


def report_row(*, client: Client, entry: PainEntry, session: Session | None, now: datetime) -> PainReport:
    """The row of an entry; it belongs to its session's day, and a next morning to the day before it."""
    return PainReport(
        practice_id=client.practice_id,
        uid=entry.uid,
        client=client,
        session=session,
        joint=entry.joint,
        side=entry.side,
        other_site=entry.other_site,
        moment=entry.moment,
        pain=entry.pain,
        symptoms=entry.symptoms,
        note=entry.note,
        explanation=entry.explanation,
        reported_at=entry.reported_at,
        felt_on=session.performed_on if session else _felt_on(client, entry),
        content_hash=content_hash(entry),
        received_at=now,
    )


def store_reports(reports: Sequence[PainReport]) -> None:
    """Insert the reports. Raises ConflictError when an id is used elsewhere."""
    if not reports:
        return
    uids = [row.uid for row in reports]
    taken = PainReport.objects.filter(practice_id=reports[0].practice_id, uid__in=uids)
    if len(set(uids)) != len(uids) or taken.exists():
        raise ConflictError("The id of a pain report is used elsewhere.")
    PainReport.objects.bulk_create(reports)


def pain_report_for(actor: Actor, report_uid: uuid.UUID) -> PainReport:
    """The report, if the actor may see its client. Raises NotFoundError."""
    report = (
        PainReport.objects.filter(
            practice_id=actor.practice_id, uid=report_uid, client__in=Client.objects.visible_to(actor)
        )
        .select_related("client", "session")
        .first()
    )
    if report is None:
        raise NotFoundError("There is no such pain report.")
    return report


def read_pain_report(*, actor: Actor, report_uid: uuid.UUID, now: datetime) -> PainReport:
    """The report, with the reading on the audit trail. Raises NotFoundError."""
    report = pain_report_for(actor, report_uid)
    record_reads(actor=actor, subject_keys=[report.client.audit_key], record_kind="pain_report", now=now)
    return report


def read_pain_reports(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> QuerySet[PainReport]:
    """A client's reports, with the reading on the audit trail. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="pain_report", now=now)
    return PainReport.objects.filter(client=client)


def _session_of(client: Client, entry: PainEntry) -> Session | None:
    if entry.session_uid is None:
        return None
    session = Session.objects.filter(
        practice_id=client.practice_id, client=client, uid=entry.session_uid
    ).first()
    if session is None:
        raise InvalidError.at("session", "unknown", "There is no such session.")
    if session.deleted_at is not None:
        raise GoneError("The session of this report has been deleted.")
    return session


def _felt_on(client: Client, entry: PainEntry) -> date:
    day = entry.reported_at.astimezone(ZoneInfo(client.zone)).date()
    return day - timedelta(days=1) if entry.moment == PainMoment.NEXT_MORNING else day
