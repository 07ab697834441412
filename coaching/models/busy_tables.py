"""Operations of migrations that keep nobody waiting on PostgreSQL; elsewhere they are Django's plain ones.

What runs outside of a transaction may be stopped half way: each looks for what it has done before, and
clears up an index that was left invalid. `tests/migration_rules.py` says which is needed when.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.contrib.postgres.operations import AddConstraintNotValid, AddIndexConcurrently, ValidateConstraint
from django.db import models
from django.db.migrations.operations import AddConstraint, AddField, AddIndex, AlterField
from django.db.migrations.operations.base import Operation
from django.db.utils import NotSupportedError

VALID = "SELECT indisvalid FROM pg_index WHERE indexrelid = to_regclass(%s)"
HAS_CONSTRAINT = "SELECT 1 FROM pg_constraint WHERE conname = %s AND conrelid = %s::regclass"


class AddIndexOnBusyTable(AddIndexConcurrently):
    """An index made while others read and write. Needs `atomic = False`, and a migration of its own."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if not _is_postgresql(schema_editor):
            AddIndex.database_forwards(self, app_label, schema_editor, from_state, to_state)
            return
        self._ensure_not_in_transaction(schema_editor)
        if not _has_valid_index(schema_editor, self.index.name):
            with _waiting_for_all(schema_editor):
                super().database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if not _is_postgresql(schema_editor):
            AddIndex.database_backwards(self, app_label, schema_editor, from_state, to_state)
            return
        with _waiting_for_all(schema_editor):
            super().database_backwards(app_label, schema_editor, from_state, to_state)


class AddUniqueOnBusyTable(AddConstraint):
    """A unique constraint on an index made beforehand. Needs `atomic = False`, and a migration of its own."""

    atomic = False

    def __init__(self, model_name: str, constraint: models.UniqueConstraint) -> None:
        if not isinstance(constraint, models.UniqueConstraint) or constraint.deferrable:
            raise TypeError("AddUniqueOnBusyTable takes a unique constraint that is not deferrable.")
        super().__init__(model_name, constraint)
        self.fields = constraint.fields

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if not _is_postgresql(schema_editor):
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        _refuse_transaction(schema_editor)
        model = to_state.apps.get_model(app_label, self.model_name)
        table, name = _quoted(schema_editor, model._meta.db_table, self.constraint.name)
        plain = str(self.constraint.create_sql(model, schema_editor))
        is_index_only = plain.startswith("CREATE UNIQUE INDEX")  # with a condition, or on expressions
        if not _has_valid_index(schema_editor, self.constraint.name):
            columns = _quoted(schema_editor, *(model._meta.get_field(f).column for f in self.fields))
            made = plain if is_index_only else f"CREATE UNIQUE INDEX {name} ON {table} ({', '.join(columns)})"
            with _waiting_for_all(schema_editor):
                schema_editor.execute(made.replace("INDEX", "INDEX CONCURRENTLY", 1), params=None)
        if not is_index_only and not _has_constraint(schema_editor, model, self.constraint.name):
            schema_editor.execute(f"ALTER TABLE {table} ADD CONSTRAINT {name} UNIQUE USING INDEX {name}")


class AddCheckOnBusyTable(AddConstraintNotValid):
    """A check that holds for what is written from now on; `ValidateCheck`, later, looks at what is there."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        plain = AddConstraintNotValid if _is_postgresql(schema_editor) else AddConstraint
        plain.database_forwards(self, app_label, schema_editor, from_state, to_state)


class ValidateCheck(ValidateConstraint):
    """Looks through the rows while others write. In a migration after the one that added the check."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if _is_postgresql(schema_editor):
            super().database_forwards(app_label, schema_editor, from_state, to_state)


class AddKeyOnBusyTable(AddField):
    """A nullable foreign key: column, index and constraint, each in its own short step.

    Needs `atomic = False`, and a migration of its own.
    """

    atomic = False

    def __init__(self, model_name: str, name: str, field: Any) -> None:
        if not isinstance(field, models.ForeignKey) or not field.null:
            raise TypeError("AddKeyOnBusyTable takes a foreign key that may be null.")
        super().__init__(model_name, name, field)

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if not _is_postgresql(schema_editor):
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        _refuse_transaction(schema_editor)
        model = to_state.apps.get_model(app_label, self.model_name)
        field = model._meta.get_field(self.name)
        index = schema_editor._create_index_name(model._meta.db_table, [field.column])
        key = f"{model._meta.db_table}_{field.column}_fk"
        table, column, index_name, key_name, parent, parent_column = _quoted(
            schema_editor, model._meta.db_table, field.column, index, key,
            field.remote_field.model._meta.db_table, field.target_field.column,
        )  # fmt: skip
        kind = field.db_type(schema_editor.connection)
        schema_editor.execute(f"ALTER TABLE {table} ADD COLUMN IF NOT EXISTS {column} {kind} NULL")
        if field.db_index and not _has_valid_index(schema_editor, index):
            with _waiting_for_all(schema_editor):
                schema_editor.execute(f"CREATE INDEX CONCURRENTLY {index_name} ON {table} ({column})")
        if field.db_constraint and not _has_constraint(schema_editor, model, key):
            schema_editor.execute(
                f"ALTER TABLE {table} ADD CONSTRAINT {key_name} FOREIGN KEY ({column}) "
                f"REFERENCES {parent} ({parent_column}) DEFERRABLE INITIALLY DEFERRED NOT VALID"
            )
        if field.db_constraint:
            schema_editor.execute(f"ALTER TABLE {table} VALIDATE CONSTRAINT {key_name}")


class DropKeysIndex(AlterField):
    """A foreign key without the index of its own, which another one begins with; touches no row.

    Django's own would make the whole table anew on SQLite.
    """

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        table, column = self._place(app_label, to_state)
        (index,) = _quoted(schema_editor, schema_editor._create_index_name(table, [column]))
        schema_editor.execute(f"DROP INDEX IF EXISTS {index}")

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        table, column = self._place(app_label, to_state)
        name = schema_editor._create_index_name(table, [column])
        index, on, of = _quoted(schema_editor, name, table, column)
        schema_editor.execute(f"CREATE INDEX {index} ON {on} ({of})")

    def _place(self, app_label: str, state: Any) -> tuple[str, str]:
        model = state.apps.get_model(app_label, self.model_name)
        return model._meta.db_table, model._meta.get_field(self.name).column


class DropColumn(Operation):
    """The second half of a removal: the release before took the field out of the state, and left the column.

    `definition` is what brings the column back, empty: it may be null, or has a default.
    """

    reduces_to_sql = True
    reversible = True

    def __init__(self, table: str, column: str, definition: str) -> None:
        self.table, self.column, self.definition = table, column, definition

    def state_forwards(self, app_label: str, state: Any) -> None:
        """The state has known nothing of it for a release."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        table, column = _quoted(schema_editor, self.table, self.column)
        schema_editor.execute(f"ALTER TABLE {table} DROP COLUMN {column}")

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        table, column = _quoted(schema_editor, self.table, self.column)
        schema_editor.execute(f"ALTER TABLE {table} ADD COLUMN {column} {self.definition}")

    def describe(self) -> str:
        return f"Drop the column {self.column} of {self.table}"


def _is_postgresql(schema_editor: Any) -> bool:
    return bool(schema_editor.connection.vendor == "postgresql")


def _quoted(schema_editor: Any, *names: str) -> tuple[str, ...]:
    return tuple(schema_editor.quote_name(name) for name in names)


def _refuse_transaction(schema_editor: Any) -> None:
    if schema_editor.connection.in_atomic_block:
        raise NotSupportedError("This operation cannot be done in a transaction: set atomic = False.")


def _has_valid_index(schema_editor: Any, name: str) -> bool:
    """False where there is none, and where the one that a stopped migration left invalid was dropped."""
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(VALID, [name])
        found = cursor.fetchone()
    if found is None or found[0]:
        return found is not None
    with _waiting_for_all(schema_editor):
        schema_editor.execute(f"DROP INDEX CONCURRENTLY {schema_editor.quote_name(name)}")
    return False


def _has_constraint(schema_editor: Any, model: Any, name: str) -> bool:
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(HAS_CONSTRAINT, [name, model._meta.db_table])
        return cursor.fetchone() is not None


@contextmanager
def _waiting_for_all(schema_editor: Any) -> Iterator[None]:
    """What is done concurrently waits for every older transaction, and holds up nobody meanwhile."""
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        before = cursor.fetchone()[0]
        cursor.execute("SET lock_timeout = 0")
        try:
            yield
        finally:
            cursor.execute(f"SET lock_timeout = '{before}'")
