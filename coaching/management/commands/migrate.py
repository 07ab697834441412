"""Django's own command, as the owner of the tables, on the rows of every practice."""

from typing import Any

from django.core.management.commands import migrate

from coaching.models.scope import across_practices
from coaching.operations.database_roles import as_owner


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        with as_owner(), across_practices("a migration is for every row there is"):
            super().handle(*args, **options)
