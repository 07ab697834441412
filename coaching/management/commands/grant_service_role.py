"""Make the database role that the service runs under."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from coaching.errors import InvalidError
from coaching.operations.database_roles import grant_service_role


class Command(BaseCommand):
    help = (
        "Makes the role of DATABASE_URL on PostgreSQL, with its password, and lets it read and write rows; "
        "it can neither change tables nor pass by row-level security. Runs as MIGRATION_DATABASE_URL, who "
        "must be allowed to create roles unless the role is there. Running it again changes nothing."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            is_new = grant_service_role()
        except InvalidError as error:
            raise CommandError(error.detail, returncode=2) from None
        self.stdout.write(f"The role is {'made and' if is_new else 'there; it is'} granted what it needs.")
