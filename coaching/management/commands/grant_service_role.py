"""Make the database role that the service runs under."""

from typing import Any

from django.core.management.base import CommandError

from coaching.errors import InvalidError
from coaching.management.by_hand import ASKED_WRONGLY, CommandByHand
from coaching.operations.database_roles import grant_service_role


class Command(CommandByHand):
    help = (
        "Makes the role of DATABASE_URL on PostgreSQL, with its password, and lets it read and write rows; "
        "it can neither change tables nor pass by row-level security. Runs as MIGRATION_DATABASE_URL, who "
        "must be allowed to create roles unless the role is there. Writes no rows. Running it again changes "
        "nothing."
    )
    ends = (
        "Ends with 0 if the role is granted what it needs; with 1 if the database cannot be used; with 2 if "
        "DATABASE_URL or MIGRATION_DATABASE_URL does not fit; with 130 if interrupted."
    )
    interrupted = "The role may be there and lack what it needs; run it again."
    needs_database = False

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            is_new = grant_service_role()
        except InvalidError as error:
            raise CommandError(error.detail, returncode=ASKED_WRONGLY) from None
        self.stdout.write(f"The role is {'made and' if is_new else 'there; it is'} granted what it needs.")
