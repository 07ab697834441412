"""Recording what was done: session, sets, pain, roll-ups, red flags and urgent mail in one transaction."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import F

from coaching.compute.joint_sides import sides_in_turn
from coaching.errors import (
    ConflictError,
    FieldFault,
    ForbearError,
    GoneError,
    InvalidError,
    NotFoundError,
    TrailError,
)
from coaching.models import (
    Actor,
    ChangeKind,
    Client,
    ConsentPurpose,
    DigestKind,
    LoggedSet,
    PainReport,
    Session,
    id_digest,
)
from coaching.models.statements import asked, insert_rows
from coaching.operations import pain, rollups
from coaching.operations.audit import record_changes, record_reads, record_reads_again
from coaching.operations.changes import Changed, note_scheduled_session
from coaching.operations.entries import FIRST_INSTANT, SessionEntry, SetEntry, content_hash
from coaching.operations.set_rows import Lookups, look_up, set_rows
from coaching.operations.standing import check_may_process, check_may_store, note_post, take_turn
from coaching.operations.urgent import (
    UrgentNotice,
    by_session,
    raise_what_cannot_wait,
    said_again_by_session,
)
from coaching.operations.versions import (
    IS_DELETED,
    IS_ERASED,
    check_may_replace,
    check_not_gone,
    check_version,
    delete_before_it_came,
    looking_twice,
    not_there,
)
from coaching.reads.clients import client_for
from coaching.reads.session_pages import OpenedSessions, opened_sessions
from coaching.reads.sessions import hold_content, with_content

LATEST_AHEAD = timedelta(hours=24)


class Outcome(StrEnum):
    CREATED = "created"
    REPLAYED = "replayed"
    UPDATED = "updated"


@dataclass(frozen=True, slots=True)
class Recorded:
    """One stored session, what storing it came to, and what must be said at once."""

    session: Session
    outcome: Outcome
    urgent: tuple[UrgentNotice, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchItem:
    """The result of one session of a batch: either recorded, or refused with the error that says why."""

    recorded: Recorded | None
    error: ForbearError | None


def record_session(
    *, actor: Actor, client: Client, entry: SessionEntry, now: datetime, expected_version: int | None = None
) -> Recorded:
    """Store a session, or replace the one under its id when `expected_version` is the current one.

    Safe to repeat: the same content again changes nothing. Raises ConflictError for other content under the
    id, StaleVersionError, GoneError for a deleted id, InvalidError, ConsentMissingError.
    """
    # Another request may store the same id between our look and our insert.
    return looking_twice(_record_one)(actor, client, entry, now, expected_version)


def record_batch(
    *, actor: Actor, client: Client, entries: Sequence[SessionEntry], now: datetime
) -> list[BatchItem]:
    """Store up to a hundred sessions; each item succeeds or fails on its own, in order. Safe to repeat.

    All of them in one transaction with bulk inserts; item by item only if that meets an error. Raises
    TrailError.
    """
    try:
        with transaction.atomic():
            return _record_many(actor, client, entries, now)
    except TrailError:
        raise
    except (ForbearError, IntegrityError):
        return [_record_item(actor, client, entry, now) for entry in entries]


def delete_session(
    *,
    actor: Actor,
    session_uid: uuid.UUID,
    expected_version: int,
    now: datetime,
    client_uid: uuid.UUID | None = None,
) -> None:
    """Take the session back; its id stays gone for good, and its days are computed again.

    An id under which nothing came in yet is gone from now on (`client_uid` says whose, for a coach). Raises
    GoneError, StaleVersionError, NotFoundError.
    """
    while not _delete_once(actor, session_uid, expected_version, now, client_uid):
        pass  # it came in while we looked


@transaction.atomic
def _delete_once(
    actor: Actor, uid: uuid.UUID, expected_version: int, now: datetime, client_uid: uuid.UUID | None
) -> bool:
    found = Session.objects.filter(
        practice_id=actor.practice_id, uid=uid, client__in=Client.objects.visible_to(actor)
    )
    locked = found.select_for_update().first()
    if locked is None:
        return delete_before_it_came(
            actor=actor,
            client_uid=client_uid,
            kind=ChangeKind.SESSION,
            uid=uid,
            has_come=lambda client: Session.objects.filter(client=client, uid=uid).exists(),
            now=now,
        )
    if locked.deleted_at is not None:
        raise GoneError("This session has been deleted.")
    check_version(locked, expected_version)
    days = _days_of(locked)
    locked.sets.all().delete()
    locked.pain_reports.all().delete()
    locked.deleted_at = now
    locked.version += 1
    locked.note = ""
    locked.save()
    take_turn(client=locked.client, now=now)
    note_post(client=locked.client, days=days, now=now)
    rollups.rebuild_days(client=locked.client, days=days, is_locked=True)
    _audit(actor, [locked], "delete", now)
    return True


def session_for(actor: Actor, session_uid: uuid.UUID) -> Session:
    """The session, if the actor may see its client. Raises NotFoundError, or GoneError once deleted."""
    session = with_content(
        Session.objects.filter(
            practice_id=actor.practice_id, uid=session_uid, client__in=Client.objects.visible_to(actor)
        )
    ).first()
    if session is None:
        raise not_there(actor, kind=ChangeKind.SESSION, uid=session_uid, what="session")
    if session.deleted_at is not None:
        raise GoneError("This session has been deleted.")
    return session


def read_session(*, actor: Actor, session_uid: uuid.UUID, now: datetime) -> Session:
    """The session, with the reading on the audit trail."""
    session = session_for(actor, session_uid)
    record_reads(actor=actor, subject_keys=[session.client.audit_key], record_kind="session", now=now)
    return session


def open_sessions(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> OpenedSessions:
    """A client's kept sessions, with the reading on the trail; what they hold comes page by page."""
    client = client_for(actor, client_uid)
    record_reads_again(actor=actor, subject_keys=[client.audit_key], record_kind="session", now=now)
    return opened_sessions(client.id)


@transaction.atomic
def confirm_set(*, actor: Actor, set_uid: uuid.UUID, now: datetime) -> LoggedSet:
    """A load that looked like a typing error was really lifted; its day is computed again. Safe to repeat."""
    rows = LoggedSet.objects.filter(
        practice_id=actor.practice_id, uid=set_uid, session__client__in=Client.objects.visible_to(actor)
    )
    # The session first, as whoever edits it.
    Session.objects.select_for_update().filter(id__in=rows.values("session_id")).first()
    row = rows.select_related("session__client", "exercise", "prescription").first()
    if row is None:
        raise NotFoundError("There is no such set.")
    check_may_process(row.session.client)
    if row.is_to_confirm:
        row.is_to_confirm, row.confirmed_at = False, now
        row.save(update_fields=["is_to_confirm", "confirmed_at"])
        Session.objects.filter(id=row.session_id).update(version=F("version") + 1)
        client, days = row.session.client, {row.session.performed_on}
        take_turn(client=client, now=now)
        note_post(client=client, days=days, now=now)
        rollups.rebuild_days(client=client, days=days, is_locked=True)
        _audit(actor, [row.session], "confirm_set", now)
    return row


@transaction.atomic
def _record_one(
    actor: Actor, client: Client, entry: SessionEntry, now: datetime, expected_version: int | None
) -> Recorded:
    if expected_version is None and _is_way_clear(client, [entry]):
        return _create_all(actor, client, [entry], now, is_way_clear=True)[0]
    check_may_store(client)
    existing = (
        Session.objects.filter(practice_id=client.practice_id, uid=entry.uid).select_for_update().first()
    )
    if existing is None:
        if expected_version is not None:
            raise not_there(actor, kind=ChangeKind.SESSION, uid=entry.uid, what="session")
        return _create_all(actor, client, [entry], now)[0]
    if existing.client_id != client.id:
        raise ConflictError("This id is taken.")
    if existing.deleted_at is not None:
        raise GoneError("This session has been deleted.")
    if existing.content_hash == content_hash(entry):
        said_again = said_again_by_session(client=client, sessions=[existing], now=now)
        return Recorded(existing, Outcome.REPLAYED, said_again.get(existing.id, ()))
    check_may_replace(existing, expected_version)
    return _replace(actor, client, existing, entry, now)


def _record_many(
    actor: Actor, client: Client, entries: Sequence[SessionEntry], now: datetime
) -> list[BatchItem]:
    if _is_way_clear(client, entries) and len({entry.uid for entry in entries}) == len(entries):
        created = _create_all(actor, client, entries, now, is_way_clear=True)
        return [BatchItem(recorded, None) for recorded in created]
    check_may_store(client)
    known = {
        row.uid: row
        for row in Session.objects.filter(
            practice_id=client.practice_id, uid__in=[entry.uid for entry in entries]
        )
    }
    fresh: list[SessionEntry] = []
    for entry in entries:
        if entry.uid not in known and all(entry.uid != other.uid for other in fresh):
            fresh.append(entry)
    made = {each.session.uid: each for each in _create_all(actor, client, fresh, now)}
    said_again = said_again_by_session(client=client, sessions=list(known.values()), now=now)
    items: list[BatchItem] = []
    for entry in entries:
        if entry.uid in made:
            recorded = made.pop(entry.uid)
            known[entry.uid] = recorded.session
            items.append(BatchItem(recorded, None))
        else:
            items.append(_compare(client, known[entry.uid], entry, said_again))
    return items


def _compare(
    client: Client,
    existing: Session,
    entry: SessionEntry,
    said_again: dict[int, tuple[UrgentNotice, ...]],
) -> BatchItem:
    if existing.client_id != client.id:
        return BatchItem(None, ConflictError("This id is taken."))
    if existing.deleted_at is not None:
        return BatchItem(None, GoneError("This session has been deleted."))
    if existing.content_hash != content_hash(entry):
        return BatchItem(None, _other_content(existing))
    urgent = said_again.get(existing.id, ())
    return BatchItem(Recorded(existing, Outcome.REPLAYED, urgent), None)


def _other_content(existing: Session) -> ConflictError:
    detail = f"Other content stands under this id, at version {existing.version}."
    return ConflictError(detail, standing=existing)


def _record_item(actor: Actor, client: Client, entry: SessionEntry, now: datetime) -> BatchItem:
    try:
        return BatchItem(record_session(actor=actor, client=client, entry=entry, now=now), None)
    except TrailError:
        raise
    except ForbearError as error:
        return BatchItem(None, error)
    except IntegrityError:
        return BatchItem(None, ConflictError("Another row already holds an id of this session."))


def _is_way_clear(client: Client, entries: Sequence[SessionEntry]) -> bool:
    """Whether the client may be stored for, and every id is new here.

    If not, it is asked one by one what is in the way. An id named twice among them is not noticed here.
    """
    uids = [entry.uid for entry in entries]
    set_uids = [row.uid for entry in entries for row in entry.sets]
    report_uids = [row.uid for entry in entries for row in entry.pain_reports]
    digests = [id_digest(uid) for uid in uids]
    ours = client.practice_id
    if client.archived_at is not None:
        return False
    [found] = asked(
        STANDS_IN_THE_WAY,
        [
            *(ours, client.id, ConsentPurpose.HEALTH_DATA.value),
            *(ours, client.id, ChangeKind.SESSION.value, uids),
            *(ours, DigestKind.RECORD.value, digests),
            *(ours, uids),
            *(ours, set_uids),
            *(ours, report_uids),
        ],
    )
    return not any(found)


STANDS_IN_THE_WAY = (
    "SELECT NOT EXISTS(SELECT 1 FROM coaching_consent "  # noqa: S608 - our own names
    "WHERE practice_id = %s AND client_id = %s AND purpose = %s AND withdrawn_at IS NULL), "
    f"{IS_DELETED}, {IS_ERASED}, "
    "EXISTS(SELECT 1 FROM coaching_session WHERE practice_id = %s AND uid = ANY(%s)), "
    "EXISTS(SELECT 1 FROM coaching_loggedset WHERE practice_id = %s AND uid = ANY(%s)), "
    "EXISTS(SELECT 1 FROM coaching_painreport WHERE practice_id = %s AND uid = ANY(%s))"
)


def _create_all(
    actor: Actor,
    client: Client,
    entries: Sequence[SessionEntry],
    now: datetime,
    *,
    is_way_clear: bool = False,
) -> list[Recorded]:
    """Insert sessions that are not there yet with all they hold, and bring everything derived along."""
    if not entries:
        return []
    uids = [entry.uid for entry in entries]
    # What is gone is gone whatever came with it; and again once the client is locked.
    if not is_way_clear:
        check_not_gone(client=client, kind=ChangeKind.SESSION, uids=uids)
    for entry in entries:
        _check_times(entry, now)
    lookups = look_up(client=client, entries=entries)
    sessions = [_session_row(client, entry, lookups, now) for entry in entries]
    insert_rows(sessions, with_ids=True)
    reports = _insert_content(client, sessions, entries, lookups, now, are_known_to_be_new=is_way_clear)
    take_turn(client=client, now=now)
    check_not_gone(client=client, kind=ChangeKind.SESSION, uids=uids)
    urgent = _follow_up(client, sessions, reports, now)
    _audit(actor, sessions, "create", now, is_told=True)
    return [Recorded(session, Outcome.CREATED, urgent.get(session.id, ())) for session in sessions]


def _replace(actor: Actor, client: Client, existing: Session, entry: SessionEntry, now: datetime) -> Recorded:
    _check_times(entry, now)
    old_days = _days_of(existing)
    existing.sets.all().delete()
    existing.pain_reports.all().delete()
    lookups = look_up(client=client, entries=[entry], edited=existing)
    fresh = _session_row(client, entry, lookups, now)
    fresh.id, fresh.version, fresh.received_at = existing.id, existing.version + 1, existing.received_at
    fresh.save(force_update=True)
    reports = _insert_content(client, [fresh], [entry], lookups, now)
    take_turn(client=client, now=now)
    urgent = _follow_up(client, [fresh], reports, now, old_days)
    note_scheduled_session(client=client, scheduled_id=existing.scheduled_session_id, now=now)
    _audit(actor, [fresh], "update", now, is_told=True)
    return Recorded(fresh, Outcome.UPDATED, urgent.get(fresh.id, ()))


def _insert_content(
    client: Client,
    sessions: Sequence[Session],
    entries: Sequence[SessionEntry],
    lookups: Lookups,
    now: datetime,
    *,
    are_known_to_be_new: bool = False,
) -> list[PainReport]:
    """Insert the sets and reports of these sessions, who hold them from then on; gives the reports."""
    sets = set_rows(
        client=client,
        sessions=sessions,
        entries=entries,
        lookups=lookups,
        are_known_to_be_new=are_known_to_be_new,
    )
    reports = [
        pain.report_row(client=client, entry=report, session=session, now=now)
        for session, entry in zip(sessions, entries, strict=True)
        for report in entry.pain_reports
    ]
    pain.store_reports(reports, are_known_to_be_new=are_known_to_be_new)
    hold_content(sessions, sets, reports)
    return reports


def _follow_up(
    client: Client,
    sessions: Sequence[Session],
    reports: Sequence[PainReport],
    now: datetime,
    old_days: frozenset[date] = frozenset(),
) -> dict[int, tuple[UrgentNotice, ...]]:
    """What stored sessions change besides themselves, once it is our turn."""
    days = {session.performed_on for session in sessions} | {row.felt_on for row in reports} | old_days
    posted = [Changed(client.id, ChangeKind.SESSION, session.uid) for session in sessions]
    note_post(client=client, days=days, now=now, posted=posted)
    rollups.rebuild_days(client=client, days=days, is_locked=True)
    return by_session(raise_what_cannot_wait(client=client, reports=reports, now=now))


def _session_row(client: Client, entry: SessionEntry, lookups: Lookups, now: datetime) -> Session:
    performed_on = entry.performed_at.astimezone(ZoneInfo(client.zone)).date()
    scheduled = lookups.scheduled_for(entry, performed_on)
    work = [row for row in entry.sets if row.kind == "work"]
    return Session(
        practice_id=client.practice_id,
        uid=entry.uid,
        client=client,
        scheduled_session=scheduled,
        performed_at=entry.performed_at,
        ended_at=entry.ended_at,
        zone=client.zone,
        performed_on=performed_on,
        session_rpe=entry.session_rpe,
        note=entry.note,
        is_deload=bool(scheduled and scheduled.is_deload),
        work_sets=sum(_turns(row, lookups) for row in work),
        work_reps=sum(_turns(row, lookups) * (row.reps or 0) for row in work),
        content_hash=content_hash(entry),
        received_at=now,
    )


def _turns(row: SetEntry, lookups: Lookups) -> int:
    """2 for one-sided work that was entered as of both sides: it stands for a set of each."""
    exercise = lookups.exercises[row.exercise_code]
    return len(sides_in_turn(row.side, is_one_sided=exercise.is_one_sided))


def _check_times(entry: SessionEntry, now: datetime) -> None:
    faults: list[FieldFault] = []
    if entry.performed_at > now + LATEST_AHEAD:
        faults.append(FieldFault(("performed_at",), "in_the_future", "More than a day in the future."))
    if entry.performed_at < FIRST_INSTANT:
        faults.append(FieldFault(("performed_at",), "too_early", "Before 1990."))
    if entry.ended_at is not None and entry.ended_at > now + LATEST_AHEAD:
        faults.append(FieldFault(("ended_at",), "in_the_future", "More than a day in the future."))
    if entry.ended_at is not None and entry.ended_at < entry.performed_at:
        faults.append(FieldFault(("ended_at",), "before_start", "The session ends before it starts."))
    for index, report in enumerate(entry.pain_reports):
        if report.reported_at > now + LATEST_AHEAD or report.reported_at < FIRST_INSTANT:
            path = ("pain_reports", index, "reported_at")
            faults.append(FieldFault(path, "out_of_range", "Before 1990 or more than a day in the future."))
    if faults:
        raise InvalidError("Some times are not possible.", tuple(faults))


def _days_of(session: Session) -> frozenset[date]:
    felt = session.pain_reports.values_list("felt_on", flat=True)
    return frozenset({session.performed_on, *felt})


def _audit(
    actor: Actor, sessions: Sequence[Session], action: str, now: datetime, *, is_told: bool = False
) -> None:
    """The sessions are all of one client; the feed `is_told` by whoever noted the post with them."""
    record_changes(
        actor=actor,
        practice_id=sessions[0].practice_id,
        subject_key=sessions[0].client.audit_key,
        action=action,
        record_kind="session",
        record_ids=[str(session.uid) for session in sessions],
        now=now,
        is_told=is_told,
    )
