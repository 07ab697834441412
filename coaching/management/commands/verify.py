"""Look whether everything that must hold between stored rows does hold."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.management.by_hand import COULD_NOT, CommandByHand, add_json
from coaching.management.of_practice import add_practice, practices_meant
from coaching.models import Practice
from coaching.models.scope import across_practices, within_practice
from coaching.operations.recompute import compare_practice
from coaching.reads.invariants import Broken, broken_rules, missing_constraints


@dataclass(frozen=True, slots=True)
class Found:
    practice: Practice
    broken: Broken


class Command(CommandByHand):
    help = (
        "Looks whether everything that must hold does hold: nights, scores, sessions, mails and webhooks, "
        "rows of one practice, finite numbers, the database's own constraints, and roll-ups and scores "
        "against the raw rows. Writes nothing. Run it after a restore, a crash, or a doubt."
    )
    ends = (
        "Ends with 0 if all of it holds; with 1 if something does not, or there is no such practice or no "
        "database; with 2 if asked wrongly; with 130 if interrupted."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        add_practice(parser)
        add_json(parser)

    @across_practices("by hand, for one practice or for all")
    def handle(self, *args: Any, **options: Any) -> None:
        now, tell = timezone.now(), self.progress()
        missing = missing_constraints()
        looked_at, found = 0, []
        for practice in practices_meant(options["practice"]):
            for broken in broken_rules(practice, now=now):
                looked_at += 1
                tell(f"{practice.name}: {looked_at} rules")
                if broken is not None:
                    found.append(Found(practice, broken))
            with within_practice(practice.id):
                compared = compare_practice(practice, now=now, tell=tell)
            looked_at += 1
            if compared.differences:
                found.append(Found(practice, _of_recomputation(compared.differences)))
        self.say(options, _plain(looked_at, missing, found), _lines(looked_at, missing, found))
        if missing or found:
            raise CommandError(f"What does not hold: {len(missing) + len(found)}.", returncode=COULD_NOT)


def _of_recomputation(differences: Any) -> Broken:
    first = tuple(f"{each.record} of {each.client.uid} on {each.on}" for each in differences[:3])
    return Broken("Roll-ups and scores are what the raw rows say; see recompute.", len(differences), first)


def _plain(looked_at: int, missing: list[str], found: list[Found]) -> dict[str, Any]:
    return {
        "rules_looked_at": looked_at,
        "constraints_missing": missing,
        "broken": [
            {
                "practice": str(each.practice.uid),
                "rule": each.broken.rule,
                "rows": each.broken.rows,
                "examples": list(each.broken.examples),
            }
            for each in found
        ],
    }


def _lines(looked_at: int, missing: list[str], found: list[Found]) -> Iterator[str]:
    yield f"{looked_at:,} rules looked at; {len(found):,} do not hold."
    for name in missing:
        yield f"  The database has no constraint {name}: its migrations are not whole."
    for each in found:
        examples = ", ".join(each.broken.examples)
        yield f"  {each.practice.name}: {each.broken.rule} Broken by {each.broken.rows:,} rows: {examples}"
