"""Begin a practice by hand: there is no public registration."""

from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.errors import InvalidError
from coaching.management.by_hand import ASKED_WRONGLY, CommandByHand, add_json
from coaching.operations.practices import NewPractice, create_practice


class Command(CommandByHand):
    help = (
        "Makes a practice and the invitation of its owner, and prints the invitation's token. The token is "
        "shown once, works once and for seven days; pass it on over a channel that you trust. Each run "
        "makes another practice; nothing is mailed."
    )
    ends = (
        "Ends with 0 if the practice was made; with 1 if it could not be, as without a database; with 2 if "
        "a name, a zone, a country or an address is not one; with 130 if interrupted: it "
        "writes both or nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help="what the practice is called")
        parser.add_argument("--zone", required=True, help="its IANA time zone, like Europe/Berlin")
        parser.add_argument("--country", required=True, help="its country as two letters, like DE")
        parser.add_argument("--owner-email", required=True, help="where the owner is invited")
        parser.add_argument(
            "--emergency-text",
            default="",
            help='what completes "call ..." in an emergency; the country\'s number if left out',
        )
        add_json(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = create_practice(
                name=options["name"],
                zone=options["zone"],
                country=options["country"].upper(),
                owner_email=options["owner_email"],
                emergency_text=options["emergency_text"],
                now=timezone.now(),
            )
        except InvalidError as error:
            fault = error.faults[0]
            option = str(fault.path[0]).replace("_", "-")
            raise CommandError(f"--{option}: {fault.detail}", returncode=ASKED_WRONGLY) from None
        self.say(options, _facts(made), _lines(made))


def _accept_url() -> str:
    return f"{settings.PUBLIC_URL}/api/v1/invitations/accept"


def _facts(made: NewPractice) -> dict[str, str]:
    return {
        "practice": str(made.practice.uid),
        "name": made.practice.name,
        "emergency_text": made.practice.emergency_text,
        "owner_email": made.invitation.invitation.email,
        "token": made.invitation.token,
        "accept_at": _accept_url(),
        "expires_at": made.invitation.invitation.expires_at.isoformat(),
    }


def _lines(made: NewPractice) -> Iterator[str]:
    practice, invitation = made.practice, made.invitation.invitation
    yield f"Practice {practice.name} has the id {practice.uid}."
    yield f'In an emergency its people read "call {practice.emergency_text}"; check that this is right.'
    yield f"Invitation token for {invitation.email}: {made.invitation.token}"
    yield f"Accept it by POST to {_accept_url()}"
    yield f"before {invitation.expires_at:%Y-%m-%d %H:%M} UTC."
