"""Record who reviewed the urgency table of the red flags."""

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from coaching.errors import InvalidError
from coaching.operations.urgency import record_sign_off
from coaching.reads.urgency import urgency_review_note


class Command(BaseCommand):
    help = (
        "Records that a licensed clinician has reviewed how urgent each red-flag symptom is, for one country "
        "and for the table as it stands in this version. Sheet, mails and API then say so."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", required=True, help="the clinician's name")
        parser.add_argument("--profession", required=True, help="the clinician's licensed profession")
        parser.add_argument("--on", required=True, type=date.fromisoformat, help="the date of the review")
        parser.add_argument("--country", required=True, help="the country it holds for, as two letters")

    def handle(self, *args: Any, **options: Any) -> None:
        country = options["country"].upper()
        try:
            record_sign_off(
                clinician_name=options["name"],
                clinician_profession=options["profession"],
                signed_on=options["on"],
                country=country,
                now=timezone.now(),
            )
        except InvalidError as error:
            fault = error.faults[0]
            raise CommandError(f"--{fault.path[0]}: {fault.detail}", returncode=2) from None
        self.stdout.write(urgency_review_note(country))
