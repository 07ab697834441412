"""What practices keep longer than they want to, and deleting it now instead of in the night."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.exchange.keeping import keep_to_periods
from coaching.management.arguments import record_id
from coaching.management.by_hand import COULD_NOT, CommandByHand, add_json
from coaching.models import Practice
from coaching.models.scope import across_practices
from coaching.operations.retention import OverAge, over_age

Counted = list[tuple[Practice, OverAge]]


class Command(CommandByHand):
    help = (
        "Counts, for each practice, what is kept longer than its owner wants: clients to be erased, those "
        "held back by a standing red flag, the trail, mail and tombstones. Without --dry-run it then deletes "
        "as much as one night would, and writes to the trail how much; every night does the same by itself."
    )
    ends = (
        "Ends with 0 if it is done; with 1 if there is no such practice or no database; with 2 if asked "
        "wrongly; with 130 if interrupted: what was deleted stays deleted, and the next run goes on."
    )
    interrupted = "What was deleted stays deleted; the next run goes on."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--practice", type=record_id, help="the practice's id; all practices if left out")
        parser.add_argument("--dry-run", action="store_true", help="count, and delete nothing")
        add_json(parser)

    @across_practices("by hand, for one practice or for all")
    def handle(self, *args: Any, **options: Any) -> None:
        practices = Practice.objects.order_by("id")
        if options["practice"] is not None:
            practices = practices.filter(uid=options["practice"])
            if not practices:
                raise CommandError("There is no such practice.", returncode=COULD_NOT)
        now = timezone.now()
        counted = [(practice, over_age(practice, now)) for practice in practices]
        if not options["dry_run"]:
            for practice, _ in counted:
                keep_to_periods(practice=practice, now=now)
        is_dry = options["dry_run"]
        facts = [{"practice": str(each.uid)} | asdict(found) for each, found in counted]
        self.say(options, {"is_dry_run": is_dry, "practices": facts}, _lines(counted, is_dry))


def _lines(counted: Counted, is_dry: bool) -> Iterator[str]:
    if not counted:
        yield "There is no practice yet: nothing to do."
    for practice, found in counted:
        yield (
            f"{practice.name}: over age are {found.clients:,} clients ({found.clients_held:,} more are held "
            f"by a standing red flag), {found.audit:,} rows of the trail, {found.mails:,} mails, "
            f"{found.tombstones:,} tombstones."
        )
    if is_dry:
        yield "Nothing was deleted."
