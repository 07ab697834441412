"""Delete for good what practices that have closed were to keep until a day that is over."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from coaching.management.by_hand import CommandByHand, add_json
from coaching.operations.deletion import DeletedPractice, delete_practice, practices_to_delete


class Command(CommandByHand):
    help = (
        "Deletes every practice that was closed and whose data was to be kept until a day that is over, with "
        "all its clients, their health data and its trail, and the accounts that are at home nowhere else. "
        "There is no way back. With --dry-run it names them and writes nothing. Meant to be run once a day."
    )
    ends = (
        "Ends with 0 if all that was due is deleted, be it nothing; with 1 if it could not be, as without a "
        "database; with 2 if it is asked wrongly; with 130 if interrupted."
    )
    interrupted = "The practices deleted before are gone; the one at hand was left whole."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="name what would be deleted, and no more")
        add_json(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        due = practices_to_delete(now=now)
        if options["dry_run"]:
            done = [DeletedPractice(practice.uid, 0) for practice in due]
        else:
            done = [delete_practice(practice=practice, now=now) for practice in due]
        verb = "Would delete" if options["dry_run"] else "Deleted"
        facts = {"practices": [{"id": str(each.practice_uid), "rows": each.rows} for each in done]}
        lines = [f"{verb} practice {each.practice_uid}, {each.rows} rows." for each in done]
        self.say(options, facts, lines or ["No closed practice is due."])
