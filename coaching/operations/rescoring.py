"""Asking the nights to look again when something behind them changes that no client posted."""

from datetime import date

from django.db.models import Exists, OuterRef, Q

from coaching.models import Client, Night, NightClient, NightClientState, NightStatus


def ask_for_rescoring(*, client: Client, from_on: date) -> None:
    """Mark the client for the next tick if a night has already judged `from_on`; safe to repeat.

    That is a finished one, or one that is under way and past this client.
    """
    is_past = NightClient.objects.filter(night=OuterRef("id"), client=client, state=NightClientState.SCORED)
    has_judged = Q(status=NightStatus.DONE) | Q(Exists(is_past), status=NightStatus.RUNNING)
    nights = Night.objects.filter(has_judged, practice_id=client.practice_id, night_on__gt=from_on)
    if nights.exists():
        Client.objects.filter(
            Q(dirty_from_on__isnull=True) | Q(dirty_from_on__gt=from_on), id=client.id
        ).update(dirty_from_on=from_on)
