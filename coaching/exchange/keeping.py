"""Keeping to a practice's periods: whom and what it keeps no longer is erased, rows and files."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from coaching.errors import GoneError
from coaching.exchange.erasing import erase_by_hand
from coaching.models import Membership, Practice
from coaching.models.scope import within_practice
from coaching.operations.retention import CLIENTS_A_NIGHT, Dropped, clients_over_age, drop_over_age
from coaching.outbox import forget_old_files


@dataclass(frozen=True, slots=True)
class Kept:
    """What one call has deleted."""

    clients: int
    rows: Dropped
    files: int


def keep_to_periods(*, practice: Practice, now: datetime) -> Kept:
    """Erase and delete what is over, a bounded part of it; safe to repeat, the next night goes on."""
    with within_practice(practice.id):
        n_clients = 0
        for client in clients_over_age(practice, now)[:CLIENTS_A_NIGHT]:
            try:
                erase_by_hand(client=client, now=now)
            except GoneError:
                continue
            n_clients += 1
        return Kept(n_clients, drop_over_age(practice=practice, now=now), _forget_files(practice, now))


def _forget_files(practice: Practice, now: datetime) -> int:
    if practice.keeps_sent_mail_days is None:
        return 0
    members = Membership.objects.filter(practice=practice).values_list("account__email", flat=True)
    return forget_old_files(
        recipients={email.lower() for email in members},
        before=now - timedelta(days=practice.keeps_sent_mail_days),
    )
