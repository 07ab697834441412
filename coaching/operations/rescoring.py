"""Asking the nights to look again when something behind them changes that no client posted."""

from datetime import date

from django.db.models import Q

from coaching.models import Client, Night, NightStatus


def ask_for_rescoring(*, client: Client, from_on: date) -> None:
    """Mark the client for the next tick if a finished night has already judged `from_on`; safe to repeat."""
    has_been_seen = Night.objects.filter(
        practice_id=client.practice_id, night_on__gt=from_on, status=NightStatus.DONE
    ).exists()
    if has_been_seen:
        Client.objects.filter(
            Q(dirty_from_on__isnull=True) | Q(dirty_from_on__gt=from_on), id=client.id
        ).update(dirty_from_on=from_on)
