"""What a migration may do to a table in use on PostgreSQL; whatever is not known to be safe is refused.

`python -m tests.lint_migrations` holds every migration after the base to it, and needs no database. It reads
operations and not their SQL, which a server is needed to write, and in which RunPython does not show.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState
from django.db.models.fields import NOT_PROVIDED

from coaching.models import busy_tables
from coaching.models.row_policies import RowPolicies

# Before the first release no database but developers' had rows behind these.
BASE = 13
VERSION = re.search(r'^version = "(.+)"$', (Path(__file__).parents[1] / "pyproject.toml").read_text(), re.M)

# Looked up by their own class, never by a parent's. These change the catalogue only, in no time.
ALWAYS_SAFE = (
    migrations.CreateModel,
    migrations.AlterModelOptions,
    migrations.AlterModelManagers,
    migrations.AlterModelTableComment,
    migrations.RemoveIndex,
    migrations.RemoveConstraint,
    busy_tables.AddCheckOnBusyTable,
    busy_tables.DropKeysIndex,
    RowPolicies,
)
# Each looks for what it has done before, so it may be stopped anywhere.
REPEATABLE = (
    busy_tables.AddIndexOnBusyTable,
    busy_tables.AddUniqueOnBusyTable,
    busy_tables.AddKeyOnBusyTable,
)
IN_TWO_STEPS = "needs two releases: see DEVELOPERS.md, A migration"
SQL_THAT_WAITS = {
    r"CREATE (UNIQUE )?INDEX (?!CONCURRENTLY)": "an index without CONCURRENTLY",
    r"ADD CONSTRAINT (?!.*(NOT VALID|USING INDEX))": "a constraint without NOT VALID",
    r"SET NOT NULL": "SET NOT NULL, which reads the whole table",
    r"ALTER COLUMN \S+ (SET DATA )?TYPE": "a change of type, which rewrites the table",
    r"\bRENAME\b": f"a new name, which {IN_TWO_STEPS}",
    r"DROP (TABLE|COLUMN)": "a removal; DropColumn says since when it is unused",
    r"\b(UPDATE|DELETE|INSERT)\b": "rows; RunPython takes them in batches",
}


@dataclass(frozen=True)
class Step:
    """One operation, the state before it, and the tables that its own migration has made."""

    operation: Any
    state: ProjectState
    migration: migrations.Migration
    made_here: frozenset[str]

    @property
    def is_on_new_table(self) -> bool:
        return getattr(self.operation, "model_name_lower", None) in self.made_here

    def old_field(self) -> Any:
        model = self.state.models[self.migration.app_label, self.operation.model_name_lower]
        return model.get_field(self.operation.name)


def faults(migration: migrations.Migration, state: ProjectState) -> Iterator[str]:
    """What a migration would do to a table in use, in sentences; `state` is that before it."""
    state, made_here = state.clone(), frozenset[str]()
    operations = migration.operations
    if not migration.atomic and (len(operations) != 1 or type(operations[0]) not in REPEATABLE):
        yield "with atomic = False it holds one operation, of those that can be done again: " + _names(
            REPEATABLE
        )
    if len(operations) > 1 and any(isinstance(each, migrations.RunPython) for each in operations):
        yield "RunPython shares a migration with others, whose locks are kept until its rows are done"
    for operation in operations:
        step = Step(operation, state, migration, made_here)
        for fault in _of_step(step):
            yield f"{type(operation).__name__}: {fault}"
        if isinstance(operation, migrations.CreateModel):
            made_here |= {operation.name_lower}
        operation.state_forwards(migration.app_label, state)


def _of_step(step: Step) -> Iterator[str]:
    operation = step.operation
    if type(operation) in ALWAYS_SAFE or (type(operation) in REPEATABLE and not step.migration.atomic):
        return
    if step.is_on_new_table and not isinstance(operation, migrations.SeparateDatabaseAndState):
        return
    rule = RULES.get(type(operation))
    if rule is None:
        yield "is not known to be safe on a table in use"
        return
    yield from rule(step)


def _added_field(step: Step) -> Iterator[str]:
    field = step.operation.field
    if field.many_to_many:
        return
    if isinstance(field, models.ForeignKey):
        yield "a foreign key locks two tables and builds an index: use AddKeyOnBusyTable"
        return
    if field.unique or field.db_index:
        yield "an index is built while others wait: add it apart, by one of " + _names(REPEATABLE[:2])
    if isinstance(field, models.GeneratedField):
        yield "a generated column rewrites the table"
    elif not field.null and field.db_default is NOT_PROVIDED:
        yield "the code before this one does not name the column, so it is null or has a db_default"
    if hasattr(field.db_default, "resolve_expression") and not _is_constant(field.db_default):
        yield "a db_default that is worked out for each row rewrites the table"


def _is_constant(default: Any) -> bool:
    return isinstance(default, models.Value | models.functions.Now)


def _altered_field(step: Step) -> Iterator[str]:
    old, new = step.old_field(), step.operation.field
    if old.null and not new.null:
        yield "NOT NULL reads the whole table: a check by AddCheckOnBusyTable, then ValidateCheck"
    if (new.unique, new.db_index) not in ((old.unique, old.db_index), (False, False)):
        yield "an index is built while others wait: AddIndexOnBusyTable or AddUniqueOnBusyTable"
    if _kind(old) != _kind(new):
        yield "another type rewrites the table: add a column, fill it, drop the old one"
    elif _length(new) < _length(old):
        yield "a shorter text is looked for in the whole table: a check by AddCheckOnBusyTable"
    if old.db_column != new.db_column:
        yield f"another column's name {IN_TWO_STEPS}"


def _kind(field: Any) -> tuple[str, ...]:
    """What its column is, but for the length of a text."""
    target = str(field.remote_field.model).lower() if field.remote_field else ""
    places = (getattr(field, "max_digits", None), getattr(field, "decimal_places", None))
    return (field.get_internal_type(), target, str(places), str(getattr(field, "db_constraint", "")))


def _length(field: Any) -> float:
    return float(field.max_length or "inf")


def _removed_from_state(step: Step) -> Iterator[str]:
    """The code that no longer names a column must still be able to insert."""
    for operation in step.operation.database_operations:
        yield f"{type(operation).__name__} within it is not looked at: use DropColumn"
    for operation in step.operation.state_operations:
        if isinstance(operation, migrations.RemoveField):
            inner = Step(operation, step.state, step.migration, frozenset())
            field = inner.old_field()
            if not field.null and field.db_default is NOT_PROVIDED:
                yield "the new code inserts without the column: give it null or a db_default first"
        elif not isinstance(operation, migrations.DeleteModel | migrations.AlterField):
            yield f"{type(operation).__name__} of the state alone is not known to be safe"


def _dropped_column(step: Step) -> Iterator[str]:
    since = getattr(step.migration, "unused_since", None)
    if since is None or not _version(since) < _version(VERSION[1] if VERSION else "0"):
        yield "`unused_since` names the release whose code stopped using it, and that is out already"


def _version(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", text))


def _run_python(step: Step) -> Iterator[str]:
    if step.operation.reverse_code is None:
        yield "has no reverse_code (noop, if there is nothing to take back)"


def _run_sql(step: Step) -> Iterator[str]:
    if step.operation.reverse_sql is None:
        yield "has no reverse_sql"
    if not isinstance(step.operation.sql, str):
        yield "its SQL is one text, so that it can be read"
        return
    for pattern, what in SQL_THAT_WAITS.items():
        if re.search(pattern, step.operation.sql, re.IGNORECASE | re.DOTALL):
            yield f"holds {what}"


def _validated(step: Step) -> Iterator[str]:
    added = (each for each in step.migration.operations if isinstance(each, busy_tables.AddCheckOnBusyTable))
    if any(each.constraint.name == step.operation.name for each in added):
        yield "in the migration that added the check it is read under that one's lock: a migration after it"


def _refused(words: str) -> Callable[[Step], Iterator[str]]:
    return lambda step: iter([words])


RULES: dict[type[Operation], Callable[[Step], Iterator[str]]] = {
    migrations.AddField: _added_field,
    migrations.AlterField: _altered_field,
    migrations.AddIndex: _refused("an index is built while others wait: use AddIndexOnBusyTable"),
    migrations.AddConstraint: _refused(
        "all rows are read under a lock: use AddCheckOnBusyTable or AddUniqueOnBusyTable"
    ),
    migrations.RemoveField: _refused(IN_TWO_STEPS),
    migrations.DeleteModel: _refused(IN_TWO_STEPS),
    migrations.RenameField: _refused(IN_TWO_STEPS),
    migrations.RenameModel: _refused(IN_TWO_STEPS),
    migrations.AlterModelTable: _refused(IN_TWO_STEPS),
    migrations.SeparateDatabaseAndState: _removed_from_state,
    migrations.RunPython: _run_python,
    migrations.RunSQL: _run_sql,
    busy_tables.DropColumn: _dropped_column,
    busy_tables.ValidateCheck: _validated,
    **dict.fromkeys(REPEATABLE, _refused("needs atomic = False")),
}


def _names(classes: tuple[type, ...]) -> str:
    return ", ".join(each.__name__ for each in classes)


def of_all_after_the_base() -> list[str]:
    loader = MigrationLoader(None)
    found = []
    for (app, name), migration in sorted(loader.disk_migrations.items()):
        if app == "coaching" and int(name[:4]) > BASE:
            before = (
                loader.project_state(migration.dependencies) if migration.dependencies else ProjectState()
            )
            found += [f"{name}: {fault}." for fault in faults(migration, before)]
    return found
