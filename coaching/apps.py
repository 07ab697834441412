from typing import Any

from django.apps import AppConfig
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


class CoachingConfig(AppConfig):
    name = "coaching"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_migrate.connect(load_catalogue_after_migrate, sender=self)
