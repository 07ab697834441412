"""Asking the nights to look again when something behind them changes that no client posted."""

from datetime import date

from django.db.models import Q

from coaching.models import Client, NightClientState, NightStatus
from coaching.models.statements import asked

HAS_JUDGED = (
    "SELECT EXISTS(SELECT 1 FROM coaching_night n WHERE n.practice_id = %s AND n.night_on > %s "
    "AND (n.status = %s OR n.status = %s AND EXISTS(SELECT 1 FROM coaching_nightclient c "
    "WHERE c.night_id = n.id AND c.client_id = %s AND c.state = %s)))"
)


def ask_for_rescoring(*, client: Client, from_on: date) -> None:
    """Mark the client for the next tick if a night has already judged `from_on`; safe to repeat.

    That is a finished one, or one that is under way and past this client.
    """
    done, running, scored = NightStatus.DONE.value, NightStatus.RUNNING.value, NightClientState.SCORED.value
    [(has_judged,)] = asked(HAS_JUDGED, [client.practice_id, from_on, done, running, client.id, scored])
    if has_judged:
        Client.objects.filter(
            Q(dirty_from_on__isnull=True) | Q(dirty_from_on__gt=from_on), id=client.id
        ).update(dirty_from_on=from_on)
