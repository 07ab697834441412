"""Django's own command, as the owner, on the rows of every practice, beside a service that goes on."""

from typing import Any

from django.core.management.commands import migrate

from coaching.management.giving_way import short_waits, until_there_is_a_lock
from coaching.models.scope import across_practices
from coaching.operations.database_roles import as_owner


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        def apply() -> None:
            migrate.Command.handle(self, *args, **options)

        with as_owner(), across_practices("a migration is for every row there is"), short_waits():
            until_there_is_a_lock(apply, lambda words: self.stderr.write(words, style_func=str))
