"""Bring a person's archive into a practice."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.errors import NotFoundError
from coaching.exchange.person_reader import ArchiveError, PersonArchive, read_archive
from coaching.management.arguments import record_id
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json
from coaching.models import Membership, Practice
from coaching.models.scope import across_practices, within_practice
from coaching.operations.import_person import ImportedPerson, import_person
from coaching.operations.imports import owner_of


class Command(CommandByHand):
    help = (
        "Brings in the archive that GET /clients/{id}/export gives, ids kept, as a client of the practice's "
        "owner or of --coach. Accounts, devices, links and the trail stay where they were made: invite the "
        "client anew. The consent in the archive was given to the practice that made it; have it given anew. "
        "Running it again changes nothing."
    )
    ends = (
        "Ends with 0 if it is done; with 1 if the file cannot be read, or there is no such practice or coach "
        "or no database; with 2 if asked wrongly, the file is no archive or a row is a problem, and then "
        "nothing is written; with 130 if interrupted: all of it was written or nothing."
    )
    interrupted = "All of it was written or nothing; run it again to see."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the archive, a zip file")
        parser.add_argument("--practice", required=True, type=record_id, help="the practice's id")
        parser.add_argument("--coach", type=record_id, help="the membership of the client's coach")
        parser.add_argument("--dry-run", action="store_true", help="check, and write nothing")
        add_json(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        archive = _read(options["file"])
        with across_practices("the practice is named by its id"):
            practice = Practice.objects.filter(uid=options["practice"]).first()
        if practice is None:
            raise CommandError("There is no such practice.", returncode=COULD_NOT)
        with within_practice(practice.id):
            done = _bring(archive, practice, options)
        self.say(options, asdict(done) | {"problems": [asdict(each) for each in done.problems]}, _lines(done))
        if done.problems:
            raise CommandError("Nothing was written.", returncode=ASKED_WRONGLY)


def _bring(archive: PersonArchive, practice: Practice, options: Mapping[str, Any]) -> ImportedPerson:
    try:
        actor = owner_of(practice)
    except NotFoundError as error:
        raise CommandError(error.detail, returncode=COULD_NOT) from None
    return import_person(
        actor=actor,
        coach=_coach(practice, options["coach"], actor.membership_id),
        rows=archive.rows,
        now=timezone.now(),
        is_dry_run=options["dry_run"],
    )


def _read(path: Path) -> PersonArchive:
    try:
        return read_archive(path)
    except ArchiveError as error:
        raise CommandError(f"{path}: {error}", returncode=ASKED_WRONGLY) from None
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}.", returncode=COULD_NOT) from None


def _coach(practice: Practice, uid: UUID | None, owner_id: int | None) -> Membership:
    current = Membership.objects.filter(practice=practice, left_at__isnull=True)
    found = current.filter(id=owner_id or 0).first() if uid is None else current.filter(uid=uid).first()
    if found is None:
        raise CommandError("There is no such coach in the practice.", returncode=COULD_NOT)
    return found


def _lines(done: ImportedPerson) -> Iterator[str]:
    for each in done.problems:
        yield f"{each.kind} {each.row}: {each.detail} ({each.code})"
    n_new, n_standing = sum(done.new.values()), sum(done.standing.values())
    if not done.problems:
        what = "written" if done.is_written else "would be new"
        yield f"{n_new:,} rows {what}; {n_standing:,} stood already."
