"""The rows of a night: planned when due, claimed client by client, and finished when none is left to do."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection, transaction
from django.db.models import Count, F, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Now

from coaching.compute.local_days import hours_in_local_day, newest_due_night
from coaching.models import Alert, Client, Night, NightClient, NightClientState, NightStatus, Practice
from coaching.models.scope import across_practices

# On SQLite a chunk keeps all others who write waiting.
CHUNK = 200 if connection.vendor == "postgresql" else 25
OTHERS_WRITE_S = 0.1  # as long as another process waits between two looks at the most
MAX_ATTEMPTS = 3
# A worker that died with many clients in hand accuses none of them: of deaths, only those alone are counted.
MAX_ATTEMPTS_OF_A_KILLER = MAX_ATTEMPTS + 1
# Connections are lost for many reasons, of which a client is the least likely one.
CUT_OFF, MAX_ATTEMPTS_OF_THE_CUT_OFF = "connection_lost", 12
# From the claim of a chunk to its lock, however busy the machine is; a dead worker's chunk waits as long.
LOCKED_WITHIN = timedelta(seconds=2)
AT_MOST_NIGHTS_BACK = 14
CLOCK_WAS_AHEAD = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Claim:
    """Clients of one night whose attempt has been counted and whose work may begin."""

    night: Night
    item_ids: tuple[int, ...]


@across_practices("which nights are due")
def plan_due_nights(*, now: datetime) -> int:
    """Make the rows of every night that is due and not there yet; safe to repeat and to run twice at once."""
    planned = 0
    of_practice = Night.objects.filter(practice=OuterRef("id")).order_by("-night_on")
    for practice in Practice.objects.open().annotate(last_on=Subquery(of_practice.values("night_on")[:1])):
        newest = newest_due_night(practice.zone, practice.night_hour, now)
        last: date | None = practice.last_on  # type: ignore[attr-defined]  # annotated
        if last is not None and last > newest:
            last = _begin_again_what_was_ahead(practice, newest, now)
        first = newest if last is None else last + timedelta(days=1)
        rows = [_night_row(practice, day, newest, now) for day in _days(practice.zone, first, newest)]
        Night.objects.bulk_create(rows, ignore_conflicts=True)
        planned += len(rows)
    return planned


def _days(zone: str, first: date, last: date) -> list[date]:
    """The dates that the calendar of the zone has, both ends included."""
    days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    return [day for day in days if hours_in_local_day(zone, day) > 0]


def _begin_again_what_was_ahead(practice: Practice, newest: date, now: datetime) -> date | None:
    """Give the newest night that is not ahead, once those that a wrong clock ran ahead of their date are due.

    A practice that has moved over the date line has one or two nights ahead as well; they stay as they are.
    Of a clock's, each comes again on its own date, and scores that were made too early are made anew then.
    """
    not_ahead = Night.objects.filter(practice=practice, night_on__lte=newest)
    early = not_ahead.filter(planned_at__gt=now + CLOCK_WAS_AHEAD)
    first_on = early.aggregate(on=Min("night_on"))["on"]
    if first_on is not None:
        early.update(status=NightStatus.DUE, planned_at=now, started_at=None, finished_at=None, reason="")
        is_later = Q(dirty_from_on__isnull=True) | Q(dirty_from_on__gte=first_on)
        judged = Client.objects.filter(is_later, practice=practice)
        judged.update(dirty_from_on=first_on - timedelta(days=1))
        Alert.objects.filter(practice=practice, seen_on__gt=newest).update(seen_on=newest)
    newest_there: date | None = not_ahead.aggregate(on=Max("night_on"))["on"]
    return newest_there


def _night_row(practice: Practice, day: date, newest: date, now: datetime) -> Night:
    is_too_old = (newest - day).days >= AT_MOST_NIGHTS_BACK
    return Night(
        practice=practice,
        night_on=day,
        zone=practice.zone,
        planned_at=now,
        status=NightStatus.SKIPPED if is_too_old else NightStatus.DUE,
        finished_at=now if is_too_old else None,
        reason=f"older than {AT_MOST_NIGHTS_BACK} nights when the service came back" if is_too_old else "",
    )


@across_practices("which nights are not done")
def unfinished_nights() -> list[Night]:
    """Nights still to do, oldest first within each practice."""
    return list(Night.objects.unfinished().select_related("practice").order_by("night_on", "id"))


@across_practices("whether any night is not done")
def is_any_unfinished() -> bool:
    return Night.objects.unfinished().exists()


@transaction.atomic
def start_night(*, night: Night, now: datetime) -> None:
    """List the clients of the night; safe to repeat."""
    started = Night.objects.filter(id=night.id, status=NightStatus.DUE).update(
        status=NightStatus.RUNNING, started_at=now
    )
    if not started:
        return
    clients = Client.objects.filter(practice=night.practice, created_at__lte=now).current().processed()
    NightClient.objects.list_all(clients.order_by("id"), night=night)


@transaction.atomic
def claim_chunk(*, night: Night, chunk: int = CHUNK) -> Claim | None:
    """Count an attempt for the next clients and commit it before any work, so that a killer is found out.

    Clients tried before are suspects and come alone; one that has been the end of three workers alone is set
    aside as failed. Whoever has just claimed some holds no lock on them for a moment: others let them be
    until it would long be over.
    """
    todo = NightClient.objects.filter(night=night, state=NightClientState.TODO)
    let_be = Q(claimed_at__gt=Now() - LOCKED_WITHIN, claimed_at__lte=Now())
    suspects = todo.filter(Q(claimed_at__isnull=True) | ~let_be, attempts__gt=0)
    is_killer = Q(attempts__gte=MAX_ATTEMPTS_OF_A_KILLER) & ~Q(error_code=CUT_OFF)
    _give_up(suspects.filter(is_killer | Q(attempts__gte=MAX_ATTEMPTS_OF_THE_CUT_OFF)))
    fresh = _lock(todo.filter(attempts=0).order_by("id"), chunk)
    claimed = fresh or _lock(suspects.order_by("attempts", "id"), 1)
    if not claimed:
        return None
    NightClient.objects.filter(id__in=claimed).update(attempts=F("attempts") + 1, claimed_at=Now())
    return Claim(night, tuple(claimed))


def let_others_write() -> None:
    """On SQLite another process looks again and again whether nobody writes: between two chunks it gets in.

    The threads of this one have their turn without it.
    """
    if connection.vendor == "sqlite":
        time.sleep(OTHERS_WRITE_S)


def _give_up(rows: QuerySet[NightClient]) -> None:
    """But for those that somebody works on: their third try has not ended yet."""
    used_up = _lock(rows.order_by("id"), CHUNK)
    NightClient.objects.filter(id__in=used_up).update(state=NightClientState.FAILED, error_code="gave_up")


def _lock(rows: QuerySet[NightClient], limit: int) -> list[int]:
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True)
    return [row.id for row in rows[:limit]]


def lock_claim(claim: Claim) -> list[NightClient]:
    """The claimed rows that are still to do, locked until the caller's transaction ends."""
    rows = NightClient.objects.filter(id__in=claim.item_ids, state=NightClientState.TODO).order_by("id")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True, of=("self",))
    return list(rows.select_related("client"))


def mark_scored(items: Sequence[NightClient], *, now: datetime) -> None:
    NightClient.objects.filter(id__in=[item.id for item in items]).update(
        state=NightClientState.SCORED, done_at=now
    )


def note_failure(claim: Claim, *, error_code: str) -> None:
    """Remember why; the clients stay to do, alone, until their tries are used up."""
    NightClient.objects.filter(id__in=claim.item_ids).update(error_code=error_code[:80], claimed_at=None)
    tries = MAX_ATTEMPTS_OF_THE_CUT_OFF if error_code == CUT_OFF else MAX_ATTEMPTS
    used_up = NightClient.objects.filter(id__in=claim.item_ids, attempts__gte=tries)
    used_up.filter(state=NightClientState.TODO).update(state=NightClientState.FAILED)


def take_attempt_back(claim: Claim) -> None:
    """The attempt was ended from outside and says nothing about the clients."""
    NightClient.objects.filter(id__in=claim.item_ids, state=NightClientState.TODO, attempts__gt=0).update(
        attempts=F("attempts") - 1, claimed_at=None
    )


def finish_night(*, night: Night, now: datetime) -> bool:
    """Close the night's row if no client is left to do; True for the one caller that closed it."""
    counts = NightClient.objects.filter(night=night, revision=0).aggregate(
        todo=Count("id", filter=Q(state=NightClientState.TODO)),
        scored=Count("id", filter=Q(state=NightClientState.SCORED)),
        failed=Count("id", filter=Q(state=NightClientState.FAILED)),
    )
    if counts["todo"]:
        return False
    return bool(
        Night.objects.filter(id=night.id, status=NightStatus.RUNNING).update(
            status=NightStatus.DONE,
            finished_at=now,
            clients_total=counts["scored"] + counts["failed"],
            clients_scored=counts["scored"],
            clients_failed=counts["failed"],
        )
    )


def count_alerts(*, night: Night, opened: int, closed: int) -> None:
    Night.objects.filter(id=night.id).update(
        alerts_opened=F("alerts_opened") + opened, alerts_closed=F("alerts_closed") + closed
    )


def lock_dirty_clients(*, practice: Practice, limit: int = CHUNK) -> list[Client]:
    """Clients whose past changed after a night had judged it, locked until the caller's transaction ends."""
    rows = Client.objects.filter(practice=practice).current().processed().dirty().order_by("id")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True)
    return list(rows[:limit])


def newest_done_nights(*, practice: Practice, now: datetime) -> list[Night]:
    """The nights a late post may still change, newest first, but for those ahead of their date."""
    newest_on = newest_due_night(practice.zone, practice.night_hour, now)
    rows = Night.objects.filter(practice=practice, night_on__lte=newest_on)
    newest = list(rows.exclude(status=NightStatus.SKIPPED).order_by("-night_on")[:AT_MOST_NIGHTS_BACK])
    return [night for night in newest if night.status == NightStatus.DONE]


def add_revision(*, night: Night, clients: Sequence[Client], now: datetime) -> list[NightClient]:
    """The next revision of these clients' outcome in a night that is done; of those whom it has judged."""
    known = dict(
        NightClient.objects.filter(night=night, client__in=clients)
        .values_list("client_id")
        .annotate(newest=Max("revision"))
    )
    items = [
        NightClient(
            practice_id=night.practice_id,
            night=night,
            client=client,
            revision=known[client.id] + 1,
            state=NightClientState.SCORED,
            attempts=1,
            done_at=now,
        )
        for client in clients
        if client.id in known
    ]
    NightClient.objects.bulk_create(items)
    return items


def mark_clean(clients: Sequence[Client]) -> None:
    Client.objects.filter(id__in=[client.id for client in clients]).update(dirty_from_on=None)
