"""Run one night by hand."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from coaching.management.arguments import WholeNumber, day
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json
from coaching.management.of_practice import add_practice, practices_meant
from coaching.management.sharing import shared_with
from coaching.models import Night, Practice
from coaching.models.scope import across_practices
from coaching.nightly import night_by_hand, run_night
from coaching.reads.night_outcomes import NightOutcome, clients_there, night_outcome

MOST_PROCESSES = 32


class Command(CommandByHand):
    help = (
        "Runs the night of one date by hand: it sees the days before that date and ignores later ones. "
        "Writes the night with its scores, opens and closes alerts, and for the newest night that is due "
        "writes the morning mails, which a served process or a worker then sends. Running it again "
        "changes nothing."
    )
    ends = (
        "Ends with 0 if every night is done; with 1 if a client could not be scored, a night could not be "
        "finished, or there is no such practice or no database; with 2 if asked wrongly, as for a date to "
        "come; with 130 if interrupted: what was scored stays, and the same command goes on with the rest."
    )
    interrupted = "What was scored stays; run it again to go on with the rest."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--on", required=True, type=day, help="the night's date, 2026-03-02")
        add_practice(parser)
        parser.add_argument(
            "--processes",
            type=WholeNumber(1, MOST_PROCESSES),
            default=1,
            help="how many share the clients; more than one on PostgreSQL only",
        )
        add_json(parser)

    @across_practices("by hand, for one practice or for all")
    def handle(self, *args: Any, **options: Any) -> None:
        on, practices = options["on"], practices_meant(options["practice"], are_open=True)
        for practice in practices:
            today = timezone.localdate(timezone=ZoneInfo(practice.zone))
            if on > today:
                raise CommandError(
                    f"--on: it is {today} at {practice.name}; no night is run ahead.",
                    returncode=ASKED_WRONGLY,
                )
        outcomes = _run(practices, on, _others(options["processes"]), self.progress())
        self.say(options, {"nights": [_plain(each) for each in outcomes]}, _lines(outcomes))
        not_whole = sum(not each.is_whole for each in outcomes)
        if not_whole:
            raise CommandError(f"Nights that are not whole: {not_whole}.", returncode=COULD_NOT)


def _others(processes: int) -> int:
    if processes > 1 and connection.vendor != "postgresql":
        raise CommandError(
            "--processes: on the embedded default one process writes at a time.", returncode=ASKED_WRONGLY
        )
    return processes - 1


def _run(
    practices: Sequence[Practice], on: date, others: int, tell: Callable[[str], None]
) -> list[NightOutcome]:
    nights = [night_by_hand(practice=practice, night_on=on, now=timezone.now()) for practice in practices]
    with shared_with(others, [night.id for night in nights]):
        for night in nights:
            _run_one(night, tell)
    if others:
        for night in nights:  # what was in the hands of another one, and the end of the night
            _run_one(night, tell)
    return [night_outcome(night.id) for night in nights]


def _run_one(night: Night, tell: Callable[[str], None]) -> None:
    there, of_practice = clients_there(night.practice), night.practice.name
    run_night(
        night=night,
        now=timezone.now(),
        tell=lambda done: tell(
            f"{of_practice}, night of {night.night_on}: {done:,} of {there:,} clients scored"
        ),
    )


def _plain(outcome: NightOutcome) -> dict[str, Any]:
    return asdict(outcome) | {
        "practice": str(outcome.practice),
        "night_on": outcome.night_on.isoformat(),
        "failed": [{"client": str(each.client), "reason": each.reason} for each in outcome.failed],
    }


def _lines(outcomes: Sequence[NightOutcome]) -> Iterator[str]:
    if not outcomes:
        yield "There is no practice yet: nothing to do."
    for each in outcomes:
        yield (
            f"{each.practice_name}, night of {each.night_on}: {each.status}; "
            f"{each.clients_scored:,} clients scored, {each.clients_failed:,} could not be; "
            f"{each.alerts_opened:,} alerts opened, {each.alerts_closed:,} closed."
        )
        if each.reason:
            yield f"  {each.reason}"
        for client in each.failed:
            yield f"  Client {client.client} could not be scored: {client.reason}"
