"""Whether a client's health data may be stored at all, and what a post does to the nights behind it."""

from collections.abc import Collection
from datetime import date, datetime

from coaching.errors import ConsentMissingError, GoneError
from coaching.models import Client, Consent, ConsentPurpose
from coaching.models.statements import done
from coaching.operations.audit import WITHDRAWN
from coaching.operations.changes import Changed, note_what_follows_a_post
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


def take_turn(*, client: Client, now: datetime) -> None:
    """Remember when the client last wrote; from here on other writers wait for the caller's transaction.

    Who came first has committed. It is no lock that a row pointing at the client must wait for.
    """
    done(LAST_POSTED, [now, client.practice_id, client.id])


def note_post(
    *, client: Client, days: Collection[date], now: datetime, posted: Collection[Changed] = ()
) -> None:
    """From which day on the nights must look again, and the feed, where what was `posted` comes as well.

    By whoever has the turn, before the days are summed up anew.
    """
    ask_for_rescoring(client=client, from_on=min(days))
    note_what_follows_a_post(client=client, from_on=min(days), now=now, posted=posted)


LAST_POSTED = "UPDATE coaching_client SET last_posted_at = %s WHERE practice_id = %s AND id = %s"
