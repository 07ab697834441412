"""Erase a client by hand."""

from typing import Any
from uuid import UUID

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.errors import GoneError
from coaching.exchange.erasing import erase_by_hand
from coaching.management.arguments import record_id
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json
from coaching.models import Client
from coaching.models.scope import across_practices


class Command(CommandByHand):
    help = (
        "Deletes all there is about a client, for good: health data, sessions, scores, alerts, mail, "
        "devices, the account unless it has another place, and mail files. The trail keeps that something "
        "was read, of nobody. Digests of ids and tokens stay, so that no device brings the person back. "
        "Take an export first: nothing that this writes leads back."
    )
    ends = (
        "Ends with 0 if the client was erased; with 1 if there is no such client, or no database; with 2 if "
        "the name does not match or several practices have the id; with 130 if interrupted: all of it was "
        "erased or nothing."
    )
    interrupted = "All of it was erased or nothing; run it again to see."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--client", required=True, type=record_id, help="the client's id")
        parser.add_argument("--practice", type=record_id, help="the practice's id, where several have theirs")
        parser.add_argument("--confirm", required=True, help="the client's name as it stands in the record")
        add_json(parser)

    @across_practices("the id is what names the practice")
    def handle(self, *args: Any, **options: Any) -> None:
        client = _client(options["client"], options["practice"])
        if client.name != options["confirm"]:
            raise CommandError("--confirm: this is not the client's name.", returncode=ASKED_WRONGLY)
        try:
            erased = erase_by_hand(client=client, now=timezone.now())
        except GoneError as error:
            raise CommandError(error.detail, returncode=COULD_NOT) from None
        facts = {
            "erased_at": erased.erasure.erased_at.isoformat(),
            "rows": erased.rows,
            "account_erased": erased.has_account_gone,
        }
        account = "The account went with them." if erased.has_account_gone else "No account was deleted."
        backups = "Export the erasures (manage.py erasures --export) and keep them beside your backups."
        self.say(options, facts, [f"Erased: {erased.rows:,} rows. {account}", backups])


def _client(uid: UUID, practice_uid: UUID | None) -> Client:
    """Ids are unique within a practice: who was brought in elsewhere has the same one there."""
    clients = Client.objects.filter(uid=uid)
    if practice_uid is not None:
        clients = clients.filter(practice__uid=practice_uid)
    found = list(clients[:2])
    if not found:
        raise CommandError("There is no such client.", returncode=COULD_NOT)
    if len(found) > 1:
        raise CommandError("--practice: several have a client of this id.", returncode=ASKED_WRONGLY)
    return found[0]
