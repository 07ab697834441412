from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, register
from django.db import connections
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


def check_webhooks_call_the_public_only(**_: Any) -> list[CheckMessage]:
    if not settings.WEBHOOK_TEST_ADDRESSES:
        return []
    return [
        Error(
            "Webhooks may call addresses that are meant for tests.",
            hint="Unset FORBEAR_WEBHOOK_TEST_ADDRESSES: with it owners reach servers inside your network.",
            id="coaching.E001",
        )
    ]


class CoachingConfig(AppConfig):
    name = "coaching"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_migrate.connect(load_catalogue_after_migrate, sender=self)
        register(check_webhooks_call_the_public_only, deploy=True)
