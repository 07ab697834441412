"""The scope of the suite: tests see every practice, while what they call begins as in the service."""

from contextlib import ExitStack

import pytest
from django.conf import settings
from django.core.management import BaseCommand
from django.db import connection

from coaching.models import scope
from coaching.operations.database_roles import as_owner, grant_service_role


@pytest.fixture(scope="session", autouse=True)
def everywhere_in_tests():
    """Outside of any block, in every thread; requests and rounds begin outside of all by themselves."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scope, "_unless_said", scope.EVERYWHERE)
        execute = BaseCommand.execute

        def begin_outside(command, *args, **options):
            with scope.outside_of_practices():
                return execute(command, *args, **options)

        patch.setattr(BaseCommand, "execute", begin_outside)
        yield


class Owner:
    """Who makes and drops the test database, where MIGRATION_DATABASE_URL names somebody."""

    def __init__(self) -> None:
        self.stay = ExitStack()

    def take_over(self) -> None:
        self.stay.enter_context(as_owner())

    def hand_over(self) -> None:
        """From here on tests run under the role of DATABASE_URL, held by the policies like the service."""
        self.stay.close()
        if settings.DATABASE_OWNER is None:
            return
        grant_service_role()
        service = connection.settings_dict["USER"]
        with as_owner(), connection.cursor() as cursor:
            # Tests of transactions are cleaned up by TRUNCATE; the service itself has no need of it.
            cursor.execute(f'GRANT TRUNCATE ON ALL TABLES IN SCHEMA public TO "{service}"')


@pytest.fixture(scope="session")
def owner_of_the_database(django_db_blocker):
    owner = Owner()
    with django_db_blocker.unblock():
        owner.take_over()
    yield owner
    with django_db_blocker.unblock():
        owner.stay.close()
