"""The morning sheet: who needs a coach's attention today, in order, and why."""

import uuid
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Max, Min, Q

from coaching.compute import pain_trend
from coaching.compute.progress import NOT_ASSESSABLE
from coaching.models import (
    Alert,
    Client,
    ConsentPurpose,
    LoggedSet,
    Membership,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    Restriction,
)
from coaching.reads.computed import Computed
from coaching.reads.lift_states import NewestScore, newest_scores
from coaching.reads.loads import load_as_entered
from coaching.reads.sheet_lines import BEYOND_THE_FIRST, Screening, SheetEntry, sheet_entries
from coaching.reads.urgency import urgency_review_note

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


def morning_sheet(*, membership: Membership, on: date, within: Collection[int] | None = None) -> MorningSheet:
    """What this coach should read on `on`: their own clients and those they cover for that day.

    `within`: the only clients that whoever asks may see, where these are not all of the coach's.
    """
    practice = membership.practice
    watched = clients_watched_by(membership, on)
    if within is not None:
        watched = [client for client in watched if client in within]
    withdrawn = _withdrawn(watched, practice.zone)
    clients = _processed(watched)
    night = (
        Night.objects.filter(practice=practice, night_on__lte=on, status=NightStatus.DONE)
        .order_by("-night_on")
        .first()
    )
    alerts = (
        Alert.objects.filter(practice=practice, client__in=clients)
        .wanting_attention(on)
        .select_related("client__coach__account")
    )
    scores = newest_scores(clients, on)
    planned_together = _planned_together(night)
    entries, screening = sheet_entries(alerts, on, _tests_run(scores.values(), night))
    return MorningSheet(
        practice_name=practice.name,
        coach_name=membership.account.name,
        sheet_on=on,
        last_night_on=night.night_on if night else None,
        nights_caught_up=planned_together[NightStatus.DONE],
        nights_skipped=planned_together[NightStatus.SKIPPED],
        unscored=_unscored(night, clients),
        withdrawn=withdrawn,
        entries=entries,
        screening=screening,
        to_confirm=_to_confirm(clients, on),
        expiring=_expiring(clients, on),
        newcomers=_newcomers(clients, on),
        waiting_lifts=_waiting_lifts(scores),
        urgency_review_note=urgency_review_note(practice.country),
    )


def clients_watched_by(membership: Membership, on: date) -> list[int]:
    """Ids of the clients this coach answers for on `on`: own ones, and those of colleagues they cover."""
    covered = [
        colleague.id
        for colleague in Membership.objects.filter(cover=membership, left_at__isnull=True)
        if colleague.is_away(on)
    ]
    return list(
        Client.objects.filter(
            Q(coach=membership) | Q(coach_id__in=covered),
            practice_id=membership.practice_id,
            archived_at__isnull=True,
        ).values_list("id", flat=True)
    )


def _processed(clients: list[int]) -> list[int]:
    return list(Client.objects.processed().filter(id__in=clients).values_list("id", flat=True))


def _withdrawn(clients: list[int], zone: str) -> tuple[WithdrawnConsent, ...]:
    """Who withdrew and when; nothing about their health."""
    rows = (
        Client.objects.stopped()
        .filter(id__in=clients, consents__purpose=ConsentPurpose.HEALTH_DATA)
        .annotate(last_at=Max("consents__withdrawn_at"))
        .order_by("name", "id")
        .values_list("uid", "name", "last_at")
    )
    return tuple(
        WithdrawnConsent(uid, name, last_at.astimezone(ZoneInfo(zone)).date()) for uid, name, last_at in rows
    )


def _tests_run(scores: Iterable[NewestScore], night: Night | None) -> int:
    """How many sites and lifts the newest night really looked at."""
    return sum(score.tests_run for score in scores if night is not None and score.night_on == night.night_on)


def _unscored(night: Night | None, clients: list[int]) -> tuple[UnscoredClient, ...]:
    if night is None:
        return ()
    outcomes = NightClient.objects.filter(night=night, client__in=clients)
    scored = outcomes.filter(state=NightClientState.SCORED).values("client")
    failed = outcomes.filter(state=NightClientState.FAILED).exclude(client__in=scored)
    return tuple(
        UnscoredClient(row.client.uid, row.client.name, row.error_code)
        for row in failed.select_related("client")
    )


def _planned_together(night: Night | None) -> Counter[str]:
    """How many earlier nights came together with this one after an outage, by status; none ordinarily."""
    if night is None or night.started_at is None:
        return Counter()
    earlier = Night.objects.filter(
        practice_id=night.practice_id, night_on__lt=night.night_on, planned_at=night.planned_at
    )
    return Counter(earlier.values_list("status", flat=True))


def _to_confirm(clients: list[int], on: date) -> tuple[SetToConfirm, ...]:
    rows = LoggedSet.objects.filter(
        session__client__in=clients,
        session__performed_on__lt=on,
        session__deleted_at__isnull=True,
        is_to_confirm=True,
    ).select_related("session__client", "exercise")
    return tuple(
        SetToConfirm(
            set_uid=row.uid,
            client_uid=row.session.client.uid,
            client_name=row.session.client.name,
            exercise_name=row.exercise.name,
            performed_on=row.session.performed_on,
            load_as_entered=f"{load_as_entered(row)} {row.load_unit}",
        )
        for row in rows.order_by("session__performed_on", "id")
    )


def _newcomers(clients: list[int], on: date) -> tuple[Newcomer, ...]:
    needed = timedelta(days=pain_trend.DEFAULT_SETTINGS.min_history_days)
    rows = (
        Client.objects.filter(id__in=clients)
        .annotate(first_on=Min("joint_days__day_on"))
        .filter(first_on__gt=on - needed)
        .order_by("name")
        .values_list("uid", "name", "first_on")
    )
    return tuple(Newcomer(uid, name, first_on, first_on + needed) for uid, name, first_on in rows)


def _waiting_lifts(scores: Mapping[int, NewestScore]) -> tuple[WaitingLift, ...]:
    """Soonest first; those that no waiting helps come last."""
    clients = Client.objects.in_bulk(scores)
    found = [
        WaitingLift(
            clients[client].uid,
            clients[client].name,
            *key,
            lift.reason,
            lift.reason_text,
            lift.assessable_on,
            lift.computed,
        )
        for client, score in scores.items()
        for key, lift in score.lifts.items()
        if lift.state == NOT_ASSESSABLE
    ]
    return tuple(
        sorted(found, key=lambda each: (each.assessable_on or date.max, each.client_name, each.exercise))
    )


def _expiring(clients: list[int], on: date) -> tuple[ExpiringRestriction, ...]:
    rows = Restriction.objects.filter(
        injury__client__in=clients, until_on__gte=on, until_on__lte=on + timedelta(days=EXPIRY_NOTICE_DAYS)
    ).select_related("injury__client")
    return tuple(
        ExpiringRestriction(
            client_uid=row.injury.client.uid,
            client_name=row.injury.client.name,
            joint=row.injury.joint,
            side=row.injury.side,
            kind=row.kind,
            until_on=row.until_on,
        )
        for row in rows.order_by("until_on", "id")
        if row.until_on is not None
    )
