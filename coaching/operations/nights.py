"""The rows of a night: planned when due, claimed client by client, and finished when none is left to do."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection, transaction
from django.db.models import Count, F, Max, Q, QuerySet

from coaching.compute.local_days import newest_due_night
from coaching.models import Client, Night, NightClient, NightClientState, NightStatus, Practice
from coaching.models.scope import across_practices

CHUNK = 50
MAX_ATTEMPTS = 3
AT_MOST_NIGHTS_BACK = 14


@dataclass(frozen=True, slots=True)
class Claim:
    """Clients of one night whose attempt has been counted and whose work may begin."""

    night: Night
    item_ids: tuple[int, ...]


@across_practices("which nights are due")
def plan_due_nights(*, now: datetime) -> int:
    """Make the rows of every night that is due and not there yet; safe to repeat and to run twice at once."""
    planned = 0
    last_nights = dict(Night.objects.values_list("practice_id").annotate(last=Max("night_on")))
    for practice in Practice.objects.open():
        newest = newest_due_night(practice.zone, practice.night_hour, now)
        last: date | None = last_nights.get(practice.id)
        first = newest if last is None else last + timedelta(days=1)
        rows = [_night_row(practice, day, newest, now) for day in _days(first, newest)]
        Night.objects.bulk_create(rows, ignore_conflicts=True)
        planned += len(rows)
    return planned


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=step) for step in range((last - first).days + 1)]


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
    rows = Night.objects.filter(status__in=[NightStatus.DUE, NightStatus.RUNNING])
    return list(rows.select_related("practice").order_by("night_on", "id"))


@across_practices("whether any night is not done")
def is_any_unfinished() -> bool:
    return Night.objects.filter(status__in=[NightStatus.DUE, NightStatus.RUNNING]).exists()


@transaction.atomic
def start_night(*, night: Night, now: datetime) -> None:
    """List the clients of the night; safe to repeat."""
    started = Night.objects.filter(id=night.id, status=NightStatus.DUE).update(
        status=NightStatus.RUNNING, started_at=now
    )
    if not started:
        return
    clients = Client.objects.filter(practice=night.practice, created_at__lte=now).current().processed()
    NightClient.objects.bulk_create(
        (NightClient(practice_id=night.practice_id, night=night, client=client) for client in clients),
        ignore_conflicts=True,
    )


@transaction.atomic
def claim_chunk(*, night: Night, chunk: int = CHUNK) -> Claim | None:
    """Count an attempt for the next clients and commit it before any work, so that a killer is found out.

    Clients tried before are suspects and come alone; after three tries one is set aside as failed.
    """
    todo = NightClient.objects.filter(night=night, state=NightClientState.TODO)
    todo.filter(attempts__gte=MAX_ATTEMPTS).update(state=NightClientState.FAILED, error_code="gave_up")
    fresh = _lock(todo.filter(attempts=0).order_by("id"), chunk)
    claimed = fresh or _lock(todo.filter(attempts__gt=0).order_by("attempts", "id"), 1)
    if not claimed:
        return None
    NightClient.objects.filter(id__in=claimed).update(attempts=F("attempts") + 1)
    return Claim(night, tuple(claimed))


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
    NightClient.objects.filter(id__in=claim.item_ids).update(error_code=error_code[:80])
    NightClient.objects.filter(
        id__in=claim.item_ids, state=NightClientState.TODO, attempts__gte=MAX_ATTEMPTS
    ).update(state=NightClientState.FAILED)


def take_attempt_back(claim: Claim) -> None:
    """The attempt was ended from outside and says nothing about the clients."""
    NightClient.objects.filter(id__in=claim.item_ids, state=NightClientState.TODO, attempts__gt=0).update(
        attempts=F("attempts") - 1
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


def newest_done_nights(*, practice: Practice) -> list[Night]:
    """The nights a late post may still change, newest first; none while a newer one is still to do."""
    rows = Night.objects.filter(practice=practice).exclude(status=NightStatus.SKIPPED).order_by("-night_on")
    newest = list(rows[:AT_MOST_NIGHTS_BACK])
    return [night for night in newest if night.status == NightStatus.DONE]


def add_revision(*, night: Night, clients: Sequence[Client], now: datetime) -> list[NightClient]:
    """The next revision of these clients' outcome in a night that is done."""
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
            revision=known.get(client.id, -1) + 1,
            state=NightClientState.SCORED,
            attempts=1,
            done_at=now,
        )
        for client in clients
    ]
    NightClient.objects.bulk_create(items)
    return items


def mark_clean(clients: Sequence[Client]) -> None:
    Client.objects.filter(id__in=[client.id for client in clients]).update(dirty_from_on=None)
