"""The night, as a list of steps in reading order; everything it must do is derived from rows."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

import structlog
from django.db import transaction

from coaching.budget import Budget
from coaching.exchange.keeping import keep_to_periods
from coaching.models import Client, Night, NightStatus, Practice
from coaching.models.database_faults import again_if_rolled_back, is_connection_lost
from coaching.models.scope import across_practices, within_practice
from coaching.operations import nights
from coaching.operations.changes import note_sessions_due
from coaching.operations.morning_mail import enqueue_morning_mails
from coaching.operations.scoring import ChunkResult, score_chunk

log = structlog.get_logger("nightly")


@dataclass(frozen=True, slots=True)
class NightRun:
    """What one call did; whether work is left, and whether it is left because the time was up."""

    planned: int
    finished: int
    clients: int
    opened: int
    closed: int
    rescored: int
    is_complete: bool
    is_cut_short: bool


def run_due_nights(*, now: datetime, budget: Budget) -> NightRun:
    """Run what is due and not done, oldest first, until the time is up. Safe to run twice at once.

    What others hold at the moment is theirs: it makes the run incomplete, not cut short.
    """
    planned = nights.plan_due_nights(now=now)
    done = ChunkResult()
    finished = 0
    is_complete = True
    for night in nights.unfinished_nights():
        result, is_night_done = run_night(night=night, now=now, budget=budget)
        done = done.plus(result)
        finished += is_night_done
        is_complete &= is_night_done
        if is_night_done:
            _keep_to_periods(night, now)
        if budget.is_spent:
            break
    is_cut_short = budget.is_spent and nights.is_any_unfinished()
    rescored = rescore_dirty_clients(now=now, budget=budget)
    return NightRun(
        planned, finished, done.clients, done.opened, done.closed, rescored, is_complete, is_cut_short
    )


def _keep_to_periods(night: Night, now: datetime) -> None:
    """What a practice keeps no longer, a part of it each night; trouble with it is no trouble of a night."""
    try:
        with within_practice(night.practice_id):
            kept = keep_to_periods(practice=Practice.objects.get(id=night.practice_id), now=now)
    except Exception as error:
        log.warning("retention_failed", practice=night.practice_id, error=type(error).__name__)
        return
    log.info("retention_done", practice=night.practice_id, clients=kept.clients, files=kept.files)


def run_night(
    *,
    night: Night,
    now: datetime,
    budget: Budget | None = None,
    tell: Callable[[int], object] = lambda clients: None,
) -> tuple[ChunkResult, bool]:
    """Score every client of one night, chunk by chunk; the bool says whether the night is done.

    `tell` hears after each chunk how many clients this call has scored so far.
    """
    with within_practice(night.practice_id):
        nights.start_night(night=night, now=now)
        done = ChunkResult()
        while budget is None or not budget.is_spent:
            claim = nights.claim_chunk(night=night)
            if claim is None:
                return done, finish(night=night, now=now)
            done = done.plus(_run_chunk(claim, now))
            tell(done.clients)
            nights.let_others_write()
        return done, False


def _run_chunk(claim: nights.Claim, now: datetime) -> ChunkResult:
    """Score the claimed clients in one transaction; after a failure they are tried again alone."""
    try:
        return again_if_rolled_back(_score_claim)(claim, now)
    except KeyboardInterrupt:  # whoever stops it is not a fault of these clients
        nights.take_attempt_back(claim)
        raise
    except Exception as error:  # one client's trouble must not end the night of the others
        log.warning(
            "chunk_failed", night=claim.night.id, clients=len(claim.item_ids), error=type(error).__name__
        )
        code = nights.CUT_OFF if is_connection_lost(error) else type(error).__name__
        nights.note_failure(claim, error_code=code)
        return ChunkResult()


@transaction.atomic
def _score_claim(claim: nights.Claim, now: datetime) -> ChunkResult:
    items = nights.lock_claim(claim)
    note_sessions_due(items=items, on=claim.night.night_on, now=now)
    result = score_chunk(items=items, night_on=claim.night.night_on, now=now)
    nights.mark_scored(items, now=now)
    nights.count_alerts(night=claim.night, opened=result.opened, closed=result.closed)
    return result


@transaction.atomic
def finish(*, night: Night, now: datetime) -> bool:
    """Close the night, and write the morning mails of the newest one in the same transaction."""
    if not nights.finish_night(night=night, now=now):
        return Night.objects.filter(id=night.id, status=NightStatus.DONE).exists()
    enqueue_morning_mails(night=night, now=now)
    log.info("night_done", practice=night.practice_id, night_on=str(night.night_on))
    return True


def rescore_dirty_clients(*, now: datetime, budget: Budget) -> int:
    """Score again the nights that late posts reach back into, as new revisions; returns how many scores.

    Only the newest night may open or update an alert, and nothing is mailed before the next morning.
    """
    scored = 0
    for practice in _practices_with_dirty_clients():
        with within_practice(practice.id):
            again = again_if_rolled_back(_rescore_practice)
            while not budget.is_spent and (scored_now := again(practice, now)):
                scored += scored_now
    return scored


@across_practices("which practices have anything to score again")
def _practices_with_dirty_clients() -> list[Practice]:
    dirty = Client.objects.current().processed().dirty().values("practice_id")
    still_to_do = Night.objects.unfinished().values("practice_id")  # it sees the change, or comes before
    return list(Practice.objects.open().filter(id__in=dirty).exclude(id__in=still_to_do))


@transaction.atomic
def _rescore_practice(practice: Practice, now: datetime) -> int:
    dirty = nights.lock_dirty_clients(practice=practice)
    done_nights = nights.newest_done_nights(practice=practice, now=now)
    scored = 0
    for night in reversed(done_nights):
        touched = [
            client for client in dirty if client.dirty_from_on and client.dirty_from_on < night.night_on
        ]
        items = nights.add_revision(night=night, clients=touched, now=now)
        is_newest = night == done_nights[0]
        scored += score_chunk(items=items, night_on=night.night_on, now=now, touches_alerts=is_newest).clients
    nights.mark_clean(dirty)
    return scored


def night_by_hand(*, practice: Practice, night_on: date, now: datetime) -> Night:
    """The row of one night, made if it is not there; running it again changes nothing."""
    with within_practice(practice.id):
        night, _ = Night.objects.get_or_create(
            practice=practice, night_on=night_on, defaults={"zone": practice.zone, "planned_at": now}
        )
    return night
