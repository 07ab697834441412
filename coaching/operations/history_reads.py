"""Reading what a client's sites, lifts and sessions went through, with the reading on the audit trail."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from coaching.errors import NotFoundError
from coaching.models import MIDLINE_JOINTS, Actor, Client, Joint, SetSide, SiteSide
from coaching.operations.audit import record_reads_again
from coaching.reads.adherence_weeks import AdherenceWeeks, WholeHistory, adherence_weeks, whole_history
from coaching.reads.catalogue import exercise_named
from coaching.reads.clients import client_for
from coaching.reads.history import (
    LiftHistory,
    SiteWeeks,
    lift_history,
    site_weeks,
)
from coaching.reads.lift_sides import LiftSidesHistory, lift_sides_history
from coaching.reads.newest import Mark, mark_of_history


@dataclass(frozen=True, slots=True)
class OpenedHistory:
    """A client's history that is on the trail and not made yet; `mark` differs for every other history."""

    client_id: int
    until_on: date
    weeks: int
    with_private: bool
    mark: Mark | None

    def made(self) -> WholeHistory:
        return whole_history(self.client_id, self.until_on, self.weeks, with_private=self.with_private)


def open_history(*, actor: Actor, client_uid: uuid.UUID, weeks: int, now: datetime) -> OpenedHistory:
    """Of every site and lift of the last `weeks` ISO weeks of the client's zone. Raises NotFoundError."""
    client = _client_read(actor, client_uid, now)
    today = _today(client, now)
    found = mark_of_history(client.id, client.practice_id, today + timedelta(days=1))
    mark = None if found is None else (client.id, today, weeks, actor.is_coach, *found)
    return OpenedHistory(client.id, today, weeks, actor.is_coach, mark)


def read_site_weeks(
    *, actor: Actor, client_uid: uuid.UUID, joint: str, side: str, weeks: int, now: datetime
) -> SiteWeeks:
    """One site's last `weeks` ISO weeks. Raises NotFoundError, also for a site that no body has."""
    client = _client_read(actor, client_uid, now)
    if not _is_trended_site(joint, side):
        raise NotFoundError("There is no such site.")
    return site_weeks(client.id, joint, side, _today(client, now), weeks, with_private=actor.is_coach)


def read_lift_history(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    exercise_code: str,
    side: str,
    track: str,
    weeks: int,
    now: datetime,
) -> LiftHistory:
    """One lift's last `weeks` ISO weeks. Raises NotFoundError."""
    client = _client_read(actor, client_uid, now)
    exercise = exercise_named(client.practice_id, exercise_code)
    if side not in SetSide.values:
        raise NotFoundError("There is no such side.")
    return lift_history(client.id, exercise.id, side, track, _today(client, now), weeks)


def read_lift_sides(
    *, actor: Actor, client_uid: uuid.UUID, exercise_code: str, track: str, weeks: int, now: datetime
) -> LiftSidesHistory:
    """Both sides of one lift over the last `weeks` ISO weeks. Raises NotFoundError."""
    client = _client_read(actor, client_uid, now)
    exercise = exercise_named(client.practice_id, exercise_code)
    return lift_sides_history(client.id, exercise.id, track, _today(client, now), weeks)


def read_adherence_weeks(*, actor: Actor, client_uid: uuid.UUID, weeks: int, now: datetime) -> AdherenceWeeks:
    """The client's adherence over the last `weeks` ISO weeks. Raises NotFoundError."""
    client = _client_read(actor, client_uid, now)
    return adherence_weeks(client.id, _today(client, now), weeks)


def _client_read(actor: Actor, client_uid: uuid.UUID, now: datetime) -> Client:
    client = client_for(actor, client_uid)
    record_reads_again(actor=actor, subject_keys=[client.audit_key], record_kind="history", now=now)
    return client


def _today(client: Client, now: datetime) -> date:
    return now.astimezone(ZoneInfo(client.zone)).date()


def _is_trended_site(joint: str, side: str) -> bool:
    if joint not in Joint.values or joint == Joint.OTHER:
        return False
    return (side == SiteSide.MIDLINE) if joint in MIDLINE_JOINTS else side in (SiteSide.LEFT, SiteSide.RIGHT)
