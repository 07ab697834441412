"""Begin a practice by hand: there is no public registration."""

import json
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from coaching.errors import InvalidError
from coaching.operations.practices import NewPractice, create_practice


class Command(BaseCommand):
    help = (
        "Make a practice and the invitation of its owner. The token is shown once, works once and for seven "
        "days; pass it on over a channel that you trust."
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
        parser.add_argument("--json", action="store_true", help="print one JSON object instead of lines")

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
            raise CommandError(f"--{option}: {fault.detail}", returncode=2) from None
        self.stdout.write(_as_json(made) if options["json"] else _as_lines(made))


def _accept_url() -> str:
    return f"{settings.PUBLIC_URL}/api/v1/invitations/accept"


def _as_json(made: NewPractice) -> str:
    return json.dumps(
        {
            "practice": str(made.practice.uid),
            "name": made.practice.name,
            "emergency_text": made.practice.emergency_text,
            "owner_email": made.invitation.invitation.email,
            "token": made.invitation.token,
            "accept_at": _accept_url(),
            "expires_at": made.invitation.invitation.expires_at.isoformat(),
        }
    )


def _as_lines(made: NewPractice) -> str:
    practice, invitation = made.practice, made.invitation.invitation
    return "\n".join(
        [
            f"Practice {practice.name} has the id {practice.uid}.",
            f'In an emergency its people read "call {practice.emergency_text}"; check that this is right.',
            f"Invitation token for {invitation.email}: {made.invitation.token}",
            f"Accept it by POST to {_accept_url()}",
            f"before {invitation.expires_at:%Y-%m-%d %H:%M} UTC.",
        ]
    )
