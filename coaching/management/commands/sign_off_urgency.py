"""Record who reviewed the urgency table of the red flags."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.errors import InvalidError
from coaching.management.arguments import day
from coaching.management.by_hand import ASKED_WRONGLY, CommandByHand, add_json
from coaching.models import UrgencySignOff
from coaching.operations.urgency import record_sign_off
from coaching.reads.urgency import urgency_review_note


class Command(CommandByHand):
    help = (
        "Records that a licensed clinician has reviewed how urgent each red-flag symptom is, for one country "
        "and for the table as it stands in this version. Sheet, mails and API then say so. Writes one row; "
        "the same review again is the same row."
    )
    ends = (
        "Ends with 0 if the review is recorded; with 1 if it could not be, as without a database; with 2 if "
        "a name, the date or the country is not one; with 130 if interrupted. It is recorded "
        "whole or not at all."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help="the clinician's name")
        parser.add_argument("--profession", required=True, help="the clinician's licensed profession")
        parser.add_argument("--on", required=True, type=day, help="the date of the review, 2026-03-02")
        parser.add_argument("--country", required=True, help="the country it holds for, as two letters")
        add_json(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        country = options["country"].upper()
        try:
            review = record_sign_off(
                clinician_name=options["name"],
                clinician_profession=options["profession"],
                signed_on=options["on"],
                country=country,
                now=timezone.now(),
            )
        except InvalidError as error:
            fault = error.faults[0]
            raise CommandError(f"--{fault.path[0]}: {fault.detail}", returncode=ASKED_WRONGLY) from None
        note = urgency_review_note(country)
        self.say(options, _facts(review, note), [note])


def _facts(review: UrgencySignOff, note: str) -> dict[str, str]:
    return {
        "clinician_name": review.clinician_name,
        "clinician_profession": review.clinician_profession,
        "signed_on": review.signed_on.isoformat(),
        "country": review.country,
        "table_version": review.table_version,
        "note": note,
    }
