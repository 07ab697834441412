"""What a night came to, for whoever ran it."""

import uuid
from dataclasses import dataclass
from datetime import date

from coaching.models import Client, Night, NightClient, NightClientState, NightStatus, Practice


@dataclass(frozen=True, slots=True)
class FailedClient:
    """A client whom a night could not score: the id, and the code of the reason."""

    client: uuid.UUID
    reason: str


@dataclass(frozen=True, slots=True)
class NightOutcome:
    practice: uuid.UUID
    practice_name: str
    night_on: date
    status: str
    reason: str
    clients_scored: int
    clients_failed: int
    alerts_opened: int
    alerts_closed: int
    failed: tuple[FailedClient, ...]

    @property
    def is_whole(self) -> bool:
        """Done, and with every client."""
        return self.status == NightStatus.DONE and not self.failed


def clients_there(practice: Practice) -> int:
    """How many clients a night of the practice that began now would list."""
    return Client.objects.filter(practice=practice).current().processed().count()


def night_outcome(night_id: int) -> NightOutcome:
    night = Night.objects.select_related("practice").get(id=night_id)
    failed = NightClient.objects.filter(night=night, revision=0, state=NightClientState.FAILED)
    return NightOutcome(
        practice=night.practice.uid,
        practice_name=night.practice.name,
        night_on=night.night_on,
        status=night.status,
        reason=night.reason,
        clients_scored=night.clients_scored,
        clients_failed=night.clients_failed,
        alerts_opened=night.alerts_opened,
        alerts_closed=night.alerts_closed,
        failed=tuple(
            FailedClient(client, reason)
            for client, reason in failed.order_by("id").values_list("client__uid", "error_code")
        ),
    )
