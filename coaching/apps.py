from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.db import connections
from django.db.backends.signals import connection_created
from django.db.migrations.executor import MigrationExecutor
from django.db.models.signals import post_migrate


def load_catalogue_after_migrate(using: str, **_: Any) -> None:
    """The shared exercise catalogue follows the fixture at every migrate, so no install is without it.

    Half way, to or from an older migration, the tables are not those of the models: nothing is loaded.
    """
    executor = MigrationExecutor(connections[using])
    if executor.migration_plan(executor.loader.graph.leaf_nodes("coaching")):
        return
    from coaching.operations.catalogue import load_catalogue

    load_catalogue(using=using)


def check_webhooks_call_the_public_only(**_: Any) -> list[checks.CheckMessage]:
    if not settings.WEBHOOK_TEST_ADDRESSES:
        return []
    return [
        checks.Error(
            "Webhooks may call addresses that are meant for tests.",
            hint="Unset FORBEAR_WEBHOOK_TEST_ADDRESSES: with it owners reach servers inside your network.",
            id="coaching.E001",
        )
    ]


def check_service_role(**_: Any) -> list[checks.CheckMessage]:
    """Part of `check --deploy`: on PostgreSQL the policies must hold for the role of the service."""
    from coaching.reads.database_role import role_faults

    hint = "Name another role in DATABASE_URL and the owner in MIGRATION_DATABASE_URL: grant_service_role."
    return [checks.Error(fault, hint=hint, id="coaching.E002") for fault in role_faults()]


class CoachingConfig(AppConfig):
    name = "coaching"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from coaching.models.row_security import tell_practice_on

        checks.register(check_service_role, checks.Tags.security, deploy=True)
        connection_created.connect(tell_practice_on)
        post_migrate.connect(load_catalogue_after_migrate, sender=self)
        checks.register(check_webhooks_call_the_public_only, checks.Tags.security, deploy=True)
