"""Whether a client's health data may be stored at all, and what a post does to the nights behind it."""

from collections.abc import Collection
from datetime import date, datetime

from coaching.errors import ConsentMissingError, GoneError
from coaching.models import Client, Consent, ConsentPurpose
from coaching.operations.audit import WITHDRAWN
from coaching.operations.changes import note_what_follows_a_post
from coaching.operations.rescoring import ask_for_rescoring


def check_may_store(client: Client) -> None:
    """Raises ConsentMissingError without a standing consent, GoneError for a client who has left."""
    if client.archived_at is not None:
        raise GoneError("This client has left the practice.")
    if _has_consent(client):
        return
    if not Client.objects.filter(id=client.id).exists():
        raise GoneError("This client has been erased.")
    raise ConsentMissingError("No health data is stored without the client's recorded consent.")


def check_may_process(client: Client) -> None:
    """Raises ConsentMissingError once the client has withdrawn: what is stored stays, and rests."""
    if Client.objects.stopped().filter(id=client.id).exists():
        raise ConsentMissingError(WITHDRAWN)


def _has_consent(client: Client) -> bool:
    return Consent.objects.filter(
        client=client, purpose=ConsentPurpose.HEALTH_DATA, withdrawn_at__isnull=True
    ).exists()


def note_post(*, client: Client, days: Collection[date], now: datetime) -> None:
    """Remember when the client last wrote, and from which day on the nights must look again."""
    Client.objects.filter(id=client.id).update(last_posted_at=now)
    ask_for_rescoring(client=client, from_on=min(days))
    note_what_follows_a_post(client=client, from_on=min(days), now=now)
