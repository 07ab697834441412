"""The morning sheet: who needs a coach's attention today, in order, and why."""

import uuid
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from coaching.compute import pain_trend
from coaching.models import (
    LoggedSet,
    Membership,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    Restriction,
)
from coaching.reads.computed import Computed
from coaching.reads.exercise_names import exercise_names
from coaching.reads.lift_states import ScoreOfSheet, scores_of_sheet
from coaching.reads.loads import as_entered
from coaching.reads.settled import settled_place
from coaching.reads.sheet_lines import BEYOND_THE_FIRST, Screening, SheetEntry, sheet_entries, standing_alerts
from coaching.reads.urgency import urgency_review_note
from coaching.reads.watched import WatchedClient, clients_watched_by

EXPIRY_NOTICE_DAYS = 7


@dataclass(frozen=True, slots=True)
class UnscoredClient:
    client_uid: uuid.UUID
    client_name: str
    reason: str


@dataclass(frozen=True, slots=True)
class ExpiringRestriction:
    client_uid: uuid.UUID
    client_name: str
    joint: str
    side: str
    kind: str
    until_on: date


@dataclass(frozen=True, slots=True)
class SetToConfirm:
    """A load far above what the lift had seen; it counts for nothing until someone confirms it."""

    set_uid: uuid.UUID
    client_uid: uuid.UUID
    client_name: str
    exercise_name: str
    performed_on: date
    load_as_entered: str


@dataclass(frozen=True, slots=True)
class Newcomer:
    """A client with too little history for any trend."""

    client_uid: uuid.UUID
    client_name: str
    first_on: date
    assessable_on: date


@dataclass(frozen=True, slots=True)
class WaitingLift:
    """A lift that cannot be assessed yet, why, and the first night that could; None if no waiting helps."""

    client_uid: uuid.UUID
    client_name: str
    exercise: str
    side: str
    track: str
    reason: str
    reason_text: str
    assessable_on: date | None
    computed: Computed | None


@dataclass(frozen=True, slots=True)
class WithdrawnConsent:
    """A client of whom nothing is scored or shown since they withdrew their consent to health data."""

    client_uid: uuid.UUID
    client_name: str
    withdrawn_on: date


@dataclass(frozen=True, slots=True)
class MorningSheet:
    practice_name: str
    coach_name: str
    sheet_on: date
    last_night_on: date | None
    nights_caught_up: int
    nights_skipped: int
    unscored: tuple[UnscoredClient, ...]
    withdrawn: tuple[WithdrawnConsent, ...]
    entries: tuple[SheetEntry, ...]
    screening: Screening
    to_confirm: tuple[SetToConfirm, ...]
    expiring: tuple[ExpiringRestriction, ...]
    newcomers: tuple[Newcomer, ...]
    waiting_lifts: tuple[WaitingLift, ...]
    urgency_review_note: str

    @property
    def clients_shown(self) -> set[uuid.UUID]:
        """Everybody of whom the sheet says anything."""
        lists = (self.unscored, self.entries, self.to_confirm, self.expiring)
        parts = (*lists, self.newcomers, self.waiting_lifts, self.withdrawn)
        return {line.client_uid for part in parts for line in part}

    @property
    def alerts_new(self) -> int:
        """Lines that are news this morning, those folded as perhaps chance left out."""
        return sum(line.is_new and not line.may_be_chance for entry in self.entries for line in entry.lines)

    @property
    def alerts_worse(self) -> int:
        """Lines that were read or put off, and have become worse this morning."""
        lines = [line for entry in self.entries for line in entry.lines if not line.may_be_chance]
        return sum(line.worse_since_on == self.sheet_on for line in lines)

    @property
    def lines_beyond(self) -> int:
        """Lines beyond the first ten, folded for length alone."""
        return sum(line.folded_because == BEYOND_THE_FIRST for entry in self.entries for line in entry.lines)


@dataclass(frozen=True, slots=True)
class SheetGround:
    """What a sheet rests on: little to read, and not the same once anything changes that the sheet shows.

    `names` are those of the exercises, which no feed tells about; `is_settled` is false while a change of one
    of these clients may still be on its way to the feed behind one that is there already.
    """

    membership_id: int
    practice_name: str
    zone: str
    coach_name: str
    sheet_on: date
    clients: tuple[WatchedClient, ...]
    last_night_on: date | None
    nights_caught_up: int
    nights_skipped: int
    unscored: tuple[UnscoredClient, ...]
    urgency_review_note: str
    names: tuple[tuple[int, str], ...]
    last_night_ended_at: datetime | None
    is_settled: bool

    @property
    def mark(self) -> tuple[Any, ...] | None:
        """Another one for every other sheet; None where nothing short can tell."""
        return tuple(getattr(self, name) for name in self.__slots__) if self.is_settled else None

    @property
    def processed(self) -> dict[int, WatchedClient]:
        """Those whose health data nights and coaches may look at, by their key."""
        return {client.id: client for client in self.clients if client.stopped_at is None}


def morning_sheet(*, membership: Membership, on: date, within: Collection[int] | None = None) -> MorningSheet:
    """What this coach should read on `on`: their own clients and those they cover for that day.

    `within`: the only clients that whoever asks may see, where these are not all of the coach's.
    """
    return sheet_on(sheet_ground(membership=membership, on=on, within=within))


def sheet_ground(*, membership: Membership, on: date, within: Collection[int] | None = None) -> SheetGround:
    """As of before anything else of the sheet is read, so that what comes meanwhile makes another ground."""
    practice = membership.practice
    settled = settled_place()
    clients = clients_watched_by(membership, on, within)
    night = (
        Night.objects.filter(practice=practice, night_on__lte=on, status=NightStatus.DONE)
        .order_by("-night_on")
        .first()
    )
    planned_together = _planned_together(night)
    return SheetGround(
        membership_id=membership.id,
        practice_name=practice.name,
        zone=practice.zone,
        coach_name=membership.account.name,
        sheet_on=on,
        clients=clients,
        last_night_on=night.night_on if night else None,
        last_night_ended_at=night.finished_at if night else None,
        nights_caught_up=planned_together[NightStatus.DONE],
        nights_skipped=planned_together[NightStatus.SKIPPED],
        unscored=_unscored(night, [client.id for client in clients if client.stopped_at is None]),
        urgency_review_note=urgency_review_note(practice.country),
        names=exercise_names(practice.id),
        is_settled=all(client.change_id is None or client.change_id <= settled for client in clients),
    )


def sheet_on(ground: SheetGround) -> MorningSheet:
    """The sheet that stands on this ground."""
    clients, on = ground.processed, ground.sheet_on
    scores = scores_of_sheet([client.score_id for client in clients.values() if client.score_id is not None])
    entries, screening = sheet_entries(
        standing_alerts(clients, on), clients, on, _tests_run(scores, ground.last_night_on)
    )
    return MorningSheet(
        practice_name=ground.practice_name,
        coach_name=ground.coach_name,
        sheet_on=on,
        last_night_on=ground.last_night_on,
        nights_caught_up=ground.nights_caught_up,
        nights_skipped=ground.nights_skipped,
        unscored=ground.unscored,
        withdrawn=_withdrawn(ground.clients, ground.zone),
        entries=entries,
        screening=screening,
        to_confirm=_to_confirm(clients, on, dict(ground.names)),
        expiring=_expiring(clients, on),
        newcomers=_newcomers(clients.values(), on),
        waiting_lifts=_waiting_lifts(scores, clients),
        urgency_review_note=ground.urgency_review_note,
    )


def _withdrawn(clients: Iterable[WatchedClient], zone: str) -> tuple[WithdrawnConsent, ...]:
    """Who withdrew and when; nothing about their health."""
    there = ZoneInfo(zone)
    return tuple(
        WithdrawnConsent(client.uid, client.name, client.stopped_at.astimezone(there).date())
        for client in clients
        if client.stopped_at is not None
    )


def _tests_run(scores: Iterable[ScoreOfSheet], last_night_on: date | None) -> int:
    """How many sites and lifts the newest night really looked at."""
    return sum(score.tests_run for score in scores if score.night_on == last_night_on)


def _unscored(night: Night | None, clients: Sequence[int]) -> tuple[UnscoredClient, ...]:
    if night is None:
        return ()
    outcomes = NightClient.objects.filter(night=night, client_id__any_of=clients)
    scored = outcomes.filter(state=NightClientState.SCORED).values("client")
    failed = outcomes.filter(state=NightClientState.FAILED).exclude(client__in=scored).order_by("id")
    return tuple(
        UnscoredClient(uid, name, error_code)
        for uid, name, error_code in failed.values_list("client__uid", "client__name", "error_code")
    )


def _planned_together(night: Night | None) -> Counter[str]:
    """How many earlier nights came together with this one after an outage, by status; none ordinarily."""
    if night is None or night.started_at is None:
        return Counter()
    earlier = Night.objects.filter(
        practice_id=night.practice_id, night_on__lt=night.night_on, planned_at=night.planned_at
    )
    return Counter(earlier.values_list("status", flat=True))


def _to_confirm(
    clients: Mapping[int, WatchedClient], on: date, names: Mapping[int, str]
) -> tuple[SetToConfirm, ...]:
    rows = LoggedSet.objects.filter(
        session__client_id__any_of=clients,
        session__performed_on__lt=on,
        session__deleted_at__isnull=True,
        is_to_confirm=True,
    )
    columns = (
        "uid", "session__client_id", "exercise_id", "session__performed_on", "load_thousandths", "load_unit",
    )  # fmt: skip
    found = rows.order_by("session__performed_on", "id").values_list(*columns)
    return tuple(
        SetToConfirm(
            set_uid=uid,
            client_uid=clients[client].uid,
            client_name=clients[client].name,
            exercise_name=names[exercise],
            performed_on=performed_on,
            load_as_entered=f"{as_entered(load_thousandths)} {load_unit}",
        )
        for uid, client, exercise, performed_on, load_thousandths, load_unit in found
    )


def _newcomers(clients: Iterable[WatchedClient], on: date) -> tuple[Newcomer, ...]:
    needed = timedelta(days=pain_trend.DEFAULT_SETTINGS.min_history_days)
    return tuple(
        Newcomer(client.uid, client.name, client.first_on, client.first_on + needed)
        for client in clients
        if client.first_on is not None and client.first_on > on - needed
    )


def _waiting_lifts(
    scores: Iterable[ScoreOfSheet], clients: Mapping[int, WatchedClient]
) -> tuple[WaitingLift, ...]:
    """Soonest first; those that no waiting helps come last."""
    found = [
        WaitingLift(
            clients[score.client_id].uid,
            clients[score.client_id].name,
            *key,
            lift.reason,
            lift.reason_text,
            lift.assessable_on,
            lift.computed,
        )
        for score in scores
        for key, lift in score.waiting
    ]
    return tuple(
        sorted(found, key=lambda each: (each.assessable_on or date.max, each.client_name, each.exercise))
    )


def _expiring(clients: Mapping[int, WatchedClient], on: date) -> tuple[ExpiringRestriction, ...]:
    rows = Restriction.objects.filter(
        injury__client_id__any_of=clients,
        until_on__gte=on,
        until_on__lte=on + timedelta(days=EXPIRY_NOTICE_DAYS),
    ).order_by("until_on", "id")
    columns = ("injury__client_id", "injury__joint", "injury__side", "kind", "until_on")
    return tuple(
        ExpiringRestriction(
            client_uid=clients[client].uid,
            client_name=clients[client].name,
            joint=joint,
            side=side,
            kind=kind,
            until_on=until_on,
        )
        for client, joint, side, kind, until_on in rows.values_list(*columns)
        if until_on is not None
    )
