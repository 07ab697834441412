"""Pain reports: stored under their client-made ids, each with the training day it belongs to."""

import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F, QuerySet

from coaching.errors import ConflictError, GoneError, InvalidError
from coaching.models import Actor, ChangeKind, Client, PainMoment, PainReport, Session
from coaching.models.base import ListQuerySet
from coaching.models.statements import insert_rows
from coaching.operations import rollups
from coaching.operations.audit import record_changes, record_reads
from coaching.operations.changes import Changed, note_changes
from coaching.operations.entries import FIRST_INSTANT, PainEntry, content_hash
from coaching.operations.standing import check_may_store, note_post, take_turn
from coaching.operations.urgent import UrgentNotice, raise_what_cannot_wait, say_again
from coaching.operations.versions import (
    check_may_replace,
    check_not_gone,
    check_version,
    delete_before_it_came,
    looking_twice,
    not_there,
)
from coaching.reads.clients import client_for

LATEST_AHEAD = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class RecordedPain:
    report: PainReport
    is_new: bool
    is_edit: bool = False
    urgent: tuple[UrgentNotice, ...] = ()


def record_pain_report(
    *, actor: Actor, client: Client, entry: PainEntry, now: datetime, expected_version: int | None = None
) -> RecordedPain:
    """Store a pain report, or replace the one under its id when `expected_version` is the current one.

    Safe to repeat. Raises ConflictError for other content under the id, StaleVersionError, GoneError for a
    deleted id, InvalidError, ConsentMissingError.
    """
    return looking_twice(_record_once)(actor, client, entry, now, expected_version)


def delete_pain_report(
    *,
    actor: Actor,
    report_uid: uuid.UUID,
    expected_version: int,
    now: datetime,
    client_uid: uuid.UUID | None = None,
) -> None:
    """Take a report back for good; its days are computed again, and alerts stay until they are ended.

    An id under which nothing came in yet is gone from now on (`client_uid` says whose, for a coach). Raises
    GoneError, StaleVersionError, NotFoundError.
    """
    while not _delete_once(actor, report_uid, expected_version, now, client_uid):
        pass  # it came in while we looked


@transaction.atomic
def _record_once(
    actor: Actor, client: Client, entry: PainEntry, now: datetime, expected_version: int | None
) -> RecordedPain:
    check_may_store(client)
    standing = _locked(PainReport.objects.filter(practice_id=client.practice_id, uid=entry.uid))
    if standing is None:
        if expected_version is not None:
            raise not_there(actor, kind=ChangeKind.PAIN_REPORT, uid=entry.uid, what="pain report")
        return _create(actor, client, entry, now)
    if standing.client_id != client.id:
        raise ConflictError("This id is taken.")
    if _is_same(standing, entry):
        said_again = say_again(client=client, reports=[standing], now=now)
        return RecordedPain(standing, is_new=False, urgent=tuple(said_again))
    check_may_replace(standing, expected_version)
    return _replace(actor, client, standing, entry, now)


def _create(actor: Actor, client: Client, entry: PainEntry, now: datetime) -> RecordedPain:
    # What is gone is gone whatever came with it; and again once the client is locked.
    check_not_gone(client=client, kind=ChangeKind.PAIN_REPORT, uids=[entry.uid])
    _check_time(entry, now)
    report = report_row(client=client, entry=entry, session=_session_of(client, entry), now=now)
    report.save(force_insert=True)  # of two at once the constraint decides, and the loser looks again
    return RecordedPain(report, is_new=True, urgent=_follow_up(actor, client, [report], now))


@transaction.atomic
def record_new_pain_reports(
    *, actor: Actor, client: Client, entries: Sequence[PainEntry], now: datetime
) -> tuple[UrgentNotice, ...]:
    """Store one client's reports, whose times are possible and ids new, all or none of them.

    Raises ConflictError for an id that is used, GoneError for one that was deleted, InvalidError for a
    session that is not there.
    """
    check_may_store(client)
    uids = {entry.session_uid for entry in entries if entry.session_uid is not None}
    found = Session.objects.filter(client=client, uid__in=uids).kept().order_by("id")
    sessions = {row.uid: row for row in found.select_for_update()}
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
    store_reports(reports)
    return _follow_up(actor, client, reports, now)


def _follow_up(
    actor: Actor, client: Client, reports: Sequence[PainReport], now: datetime
) -> tuple[UrgentNotice, ...]:
    """What new reports change besides themselves."""
    days = {report.felt_on for report in reports}
    take_turn(client=client, now=now)
    note_post(client=client, days=days, now=now)
    rollups.rebuild_days(client=client, days=days, is_locked=True)
    check_not_gone(client=client, kind=ChangeKind.PAIN_REPORT, uids=[report.uid for report in reports])
    notices = raise_what_cannot_wait(client=client, reports=reports, now=now)
    _tell(actor, client, reports, "create", {report.session_id for report in reports}, now)
    return tuple(notices)


def _replace(
    actor: Actor, client: Client, standing: PainReport, entry: PainEntry, now: datetime
) -> RecordedPain:
    _check_time(entry, now)
    fresh = report_row(client=client, entry=entry, session=_session_of(client, entry), now=now)
    fresh.id, fresh.version, fresh.received_at = standing.id, standing.version + 1, standing.received_at
    fresh.save(force_update=True)
    days = {standing.felt_on, fresh.felt_on}
    take_turn(client=client, now=now)
    note_post(client=client, days=days, now=now)
    rollups.rebuild_days(client=client, days=days, is_locked=True)
    notices = raise_what_cannot_wait(client=client, reports=[fresh], now=now)
    _tell(actor, client, [fresh], "update", {standing.session_id, fresh.session_id}, now)
    return RecordedPain(fresh, is_new=False, is_edit=True, urgent=tuple(notices))


@transaction.atomic
def _delete_once(
    actor: Actor, uid: uuid.UUID, expected_version: int, now: datetime, client_uid: uuid.UUID | None
) -> bool:
    report = _locked(
        PainReport.objects.filter(
            practice_id=actor.practice_id, uid=uid, client__in=Client.objects.visible_to(actor)
        )
    )
    if report is None:
        return delete_before_it_came(
            actor=actor,
            client_uid=client_uid,
            kind=ChangeKind.PAIN_REPORT,
            uid=uid,
            has_come=lambda client: PainReport.objects.filter(client=client, uid=uid).exists(),
            now=now,
        )
    check_version(report, expected_version)
    PainReport.objects.filter(id=report.id).delete()
    take_turn(client=report.client, now=now)
    note_post(client=report.client, days={report.felt_on}, now=now)
    rollups.rebuild_days(client=report.client, days={report.felt_on}, is_locked=True)
    _tell(actor, report.client, [report], "delete", {report.session_id}, now)
    return True


def _locked(rows: QuerySet[PainReport]) -> PainReport | None:
    """The report, locked after its session, as an edit of the session locks them."""
    Session.objects.select_for_update().filter(id__in=rows.values("session_id")).first()
    return rows.select_for_update(of=("self",)).select_related("client", "session").first()


def _is_same(standing: PainReport, entry: PainEntry) -> bool:
    """An edit of the session writes its reports anew, as those that came with it."""
    within = replace(entry, session_uid=None)
    is_of_its_session = standing.session is not None and standing.session.uid == entry.session_uid
    return standing.content_hash in (content_hash(entry), is_of_its_session and content_hash(within))


def _check_time(entry: PainEntry, now: datetime) -> None:
    if entry.reported_at > now + LATEST_AHEAD or entry.reported_at < FIRST_INSTANT:
        raise InvalidError.at("reported_at", "out_of_range", "Before 1990 or more than a day in the future.")


def _tell(
    actor: Actor,
    client: Client,
    reports: Sequence[PainReport],
    action: str,
    session_ids: Collection[int | None],
    now: datetime,
) -> None:
    """The trail and the feed; a session shows its reports, so that it has a new version as well."""
    record_changes(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action=action,
        record_kind="pain_report",
        record_ids=[str(report.uid) for report in reports],
        now=now,
    )
    held_by = Session.objects.filter(id__in=[each for each in session_ids if each is not None])
    held_by.update(version=F("version") + 1)
    changed = [Changed(client.id, ChangeKind.SESSION, uid) for uid in held_by.values_list("uid", flat=True)]
    note_changes(practice_id=client.practice_id, changed=changed, now=now)


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


def store_reports(reports: Sequence[PainReport], *, are_known_to_be_new: bool = False) -> None:
    """Insert the reports. Raises ConflictError when an id is used elsewhere."""
    if not reports:
        return
    uids = [row.uid for row in reports]
    taken = PainReport.objects.filter(practice_id=reports[0].practice_id, uid__in=uids)
    if len(set(uids)) != len(uids) or (not are_known_to_be_new and taken.exists()):
        raise ConflictError("The id of a pain report is used elsewhere.")
    insert_rows(reports, with_ids=True)


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
        raise not_there(actor, kind=ChangeKind.PAIN_REPORT, uid=report_uid, what="pain report")
    return report


def read_pain_report(*, actor: Actor, report_uid: uuid.UUID, now: datetime) -> PainReport:
    """The report, with the reading on the audit trail. Raises NotFoundError."""
    report = pain_report_for(actor, report_uid)
    record_reads(actor=actor, subject_keys=[report.client.audit_key], record_kind="pain_report", now=now)
    return report


def read_pain_reports(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[PainReport]:
    """A client's reports, with the reading on the audit trail. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="pain_report", now=now)
    return PainReport.objects.filter(client=client).select_related("session")


def _session_of(client: Client, entry: PainEntry) -> Session | None:
    if entry.session_uid is None:
        return None
    named = Session.objects.filter(practice_id=client.practice_id, client=client, uid=entry.session_uid)
    session = named.select_for_update().first()
    if session is None:
        raise InvalidError.at("session", "unknown", "There is no such session.")
    if session.deleted_at is not None:
        raise GoneError("The session of this report has been deleted.")
    return session


def _felt_on(client: Client, entry: PainEntry) -> date:
    day = entry.reported_at.astimezone(ZoneInfo(client.zone)).date()
    return day - timedelta(days=1) if entry.moment == PainMoment.NEXT_MORNING else day
