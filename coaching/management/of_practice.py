"""Commands on one practice, or on all of them."""

from uuid import UUID

from django.core.management.base import CommandError, CommandParser

from coaching.management.arguments import record_id
from coaching.management.by_hand import COULD_NOT
from coaching.models import Practice


def add_practice(parser: CommandParser) -> None:
    parser.add_argument("--practice", type=record_id, help="the practice's id; all practices if left out")


def practices_meant(uid: UUID | None, *, are_open: bool = False) -> list[Practice]:
    """To be asked across practices, of all or of those alone that have not closed.

    Raises CommandError for an id that none of them has.
    """
    practices = (Practice.objects.open() if are_open else Practice.objects.all()).order_by("id")
    if uid is None:
        return list(practices)
    found = list(practices.filter(uid=uid))
    if not found:
        raise CommandError("There is no such practice.", returncode=COULD_NOT)
    return found
