"""Let a restored database send again."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from coaching.installation import confirm, hold, is_restored
from coaching.management.by_hand import CommandByHand, add_json
from coaching.models.scope import across_practices
from coaching.operations.outbox_rows import drop_waiting


class Command(CommandByHand):
    help = (
        "Says that this database was restored on purpose, so that mail and webhooks leave again. Apply the "
        "erasures first (manage.py erasures --apply). What waited in the backup is sent then, unless "
        "--drop-waiting gives it up: most of it was sent before. Writes which database sends from now on; "
        "running it again changes nothing more."
    )
    ends = (
        "Ends with 0 if sending goes on; with 1 without a database; with 2 if asked wrongly; with 130 if "
        "interrupted: run it again."
    )
    interrupted = "Run it again."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--drop-waiting",
            action="store_true",
            help="give up the mail and webhooks that wait in the backup",
        )
        parser.add_argument(
            "--hold",
            action="store_true",
            help="the other way round: send nothing until this is run again, as after a whole folder or "
            "cluster was copied back",
        )
        add_json(parser)

    @across_practices("whatever waits, of every practice")
    def handle(self, *args: Any, **options: Any) -> None:
        if options["hold"]:
            hold(now=timezone.now())
            self.say(options, {"held": True}, ["Nothing leaves until manage.py confirm_restore is run."])
            return
        was_restored = is_restored()
        dropped = drop_waiting() if options["drop_waiting"] else 0
        confirm(now=timezone.now())
        facts = {"was_restored": was_restored, "dropped": dropped}
        lines = ["Mail and webhooks leave again." if was_restored else "Nothing was held back."]
        if options["drop_waiting"]:
            lines.append(f"{dropped:,} that waited were given up.")
        self.say(options, facts, lines)
