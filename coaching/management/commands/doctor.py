"""Say what is wrong with the service and what to do about it."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import redis
from django.conf import settings
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from coaching.installation import is_restored
from coaching.management.by_hand import COULD_NOT, CommandByHand, add_json
from coaching.models.scope import across_practices
from coaching.reads.health import Trouble, troubles

LOW_BYTES = 500_000_000
BROKER_ANSWERS_WITHIN_S = 1.0


class Command(CommandByHand):
    help = (
        "Says in sentences what is wrong with the service and what to do: nights behind, clients not scored, "
        "mails late or dead, webhooks switched off, the broker away, the disk nearly full, clocks apart, "
        "settings that lose data, a restore that nobody confirmed, the table of red-flag urgency unsigned. "
        "Writes nothing."
    )
    ends = (
        "Ends with 0 if nothing is wrong, notes aside; with 1 if something is, or there is no database; with "
        "2 if asked wrongly; with 130 if interrupted."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        add_json(parser)

    @across_practices("whether anything is wrong anywhere")
    def handle(self, *args: Any, **options: Any) -> None:
        found = [*_of_this_machine(), *troubles(now=timezone.now())]
        wrong = sum(not each.is_note for each in found)
        facts = [{"what": each.what, "to_do": each.to_do, "is_note": each.is_note} for each in found]
        self.say(options, {"wrong": wrong, "found": facts}, _lines(found))
        if wrong:
            raise CommandError(f"What is wrong: {wrong}.", returncode=COULD_NOT)


def _lines(found: list[Trouble]) -> Iterator[str]:
    if not any(not each.is_note for each in found):
        yield "Nothing is wrong."
    for each in sorted(found, key=lambda each: each.is_note):
        yield f"{'Note' if each.is_note else 'Wrong'}: {each.what}"
        yield f"  {each.to_do}"


def _of_this_machine() -> Iterator[Trouble]:
    for folder in _folders_written_to():
        free = shutil.disk_usage(folder).free
        if free < LOW_BYTES:
            yield Trouble(
                f"The disk of {folder} has {free / 1e6:,.0f} MB left.",
                "Make room: without it posts are answered 503, and nights and mails wait.",
            )
    if is_restored():
        yield Trouble(
            "This database was restored, or is held: no mail and no webhook leaves.",
            "Follow README, Backups: manage.py erasures --apply, then manage.py confirm_restore.",
        )
    if settings.REDIS_URL and not _broker_answers():
        yield Trouble(
            "The broker (REDIS_URL) does not answer.",
            "Start it. Posts and reads go on without it; nights and mails wait for the next tick.",
        )


def _folders_written_to() -> list[Path]:
    """The folder of files, and that of an embedded database where it lies on another disk."""
    folders = [Path(settings.VAR_DIR)]
    if connection.vendor == "sqlite":
        database = Path(connection.settings_dict["NAME"]).absolute().parent
        if database.is_dir() and database.stat().st_dev != folders[0].stat().st_dev:
            folders.append(database)
    return folders


def _broker_answers() -> bool:
    client = redis.Redis.from_url(
        settings.REDIS_URL,
        socket_timeout=BROKER_ANSWERS_WITHIN_S,
        socket_connect_timeout=BROKER_ANSWERS_WITHIN_S,
    )
    try:
        return bool(client.ping())
    except redis.RedisError:
        return False
    finally:
        client.close()
