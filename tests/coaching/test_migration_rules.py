"""Each rule for migrations on a busy PostgreSQL, by a sample that breaks it and the way that keeps it."""

import importlib
import pkgutil
import uuid

import pytest
from django.contrib.postgres.fields import ArrayField
from django.db import migrations, models
from django.db.migrations.state import ModelState, ProjectState
from django.db.models import F, Q
from django.db.models.functions import Now

from coaching.models.busy_tables import (
    AddCheckOnBusyTable,
    AddIndexOnBusyTable,
    AddKeyOnBusyTable,
    AddUniqueOnBusyTable,
    DropColumn,
    DropKeysIndex,
    ValidateCheck,
)
from coaching.models.row_policies import secured
from tests import migration_rules
from tests.lint_migrations import main
from tests.migration_rules import faults
from tests.trial import migrations as trial

INDEX = models.Index(fields=["reps"], name="any_idx")
CHECK = models.CheckConstraint(condition=Q(reps__gte=0), name="any_check")
UNIQUE = models.UniqueConstraint(fields=["name"], name="any_unique")
NEW_TABLE = migrations.CreateModel("Fresh", [("id", models.BigAutoField(primary_key=True))])


def add(field, name="extra"):
    return migrations.AddField("lift", name, field)


def alter(name, field):
    return migrations.AlterField("lift", name, field)


def state_alone(operation):
    return migrations.SeparateDatabaseAndState(state_operations=[operation])


class UnknownOperation(migrations.RunPython):
    """Not in the table, even though its parent is."""


BAD = {
    "index": ([migrations.AddIndex("lift", INDEX)], "AddIndexOnBusyTable"),
    "index in a transaction": ([AddIndexOnBusyTable("lift", INDEX)], "needs atomic = False"),
    "unique": ([migrations.AddConstraint("lift", UNIQUE)], "AddUniqueOnBusyTable"),
    "check": ([migrations.AddConstraint("lift", CHECK)], "AddCheckOnBusyTable"),
    "check validated at once": (
        [AddCheckOnBusyTable("lift", CHECK), ValidateCheck("lift", "any_check")],
        "a migration after it",
    ),
    "not null": ([add(models.IntegerField())], "null or has a db_default"),
    "not null, default of Python": ([add(models.IntegerField(default=3))], "null or has a db_default"),
    "a default for each row": ([add(models.FloatField(db_default=F("reps") + 1))], "rewrites the table"),
    "a generated column": (
        [
            add(
                models.GeneratedField(
                    expression=F("reps") * 2, output_field=models.IntegerField(), db_persist=True
                )
            )
        ],
        "rewrites the table",
    ),
    "a unique column": ([add(models.IntegerField(null=True, unique=True))], "an index is built"),
    "an indexed column": ([add(models.IntegerField(null=True, db_index=True))], "an index is built"),
    "a foreign key": (
        [add(models.ForeignKey("coaching.Plan", models.PROTECT, null=True))],
        "AddKeyOnBusyTable",
    ),
    "another type": ([alter("reps", models.BigIntegerField())], "rewrites the table"),
    "an array of it": ([alter("reps", ArrayField(models.IntegerField()))], "rewrites the table"),
    "shorter": ([alter("name", models.CharField(max_length=10))], "shorter"),
    "no longer null": ([alter("note", models.CharField(max_length=20))], "NOT NULL"),
    "now unique": ([alter("name", models.CharField(max_length=40, unique=True))], "an index is built"),
    "now indexed": ([alter("reps", models.IntegerField(db_index=True))], "an index is built"),
    "another column's name": ([alter("reps", models.IntegerField(db_column="n"))], "two releases"),
    "a field renamed": ([migrations.RenameField("lift", "reps", "n")], "two releases"),
    "a field removed": ([migrations.RemoveField("lift", "note")], "two releases"),
    "a model renamed": ([migrations.RenameModel("Lift", "Raise")], "two releases"),
    "a model removed": ([migrations.DeleteModel("Plan")], "two releases"),
    "a table renamed": ([migrations.AlterModelTable("lift", "x")], "two releases"),
    "removed from the state, not null": (
        [state_alone(migrations.RemoveField("lift", "reps"))],
        "inserts without the column",
    ),
    "another state than that of the database": (
        [state_alone(migrations.RenameField("lift", "reps", "n"))],
        "not known to be safe",
    ),
    "the database alone": (
        [migrations.SeparateDatabaseAndState([migrations.RemoveField("lift", "note")])],
        "use DropColumn",
    ),
    "a column dropped at once": ([DropColumn("coaching_lift", "note", "text NULL")], "unused_since"),
    "no way back": ([migrations.RunPython(lambda apps, editor: None)], "no reverse_code"),
    "rows beside tables": (
        [add(models.IntegerField(null=True)), migrations.RunPython(lambda a, e: None, lambda a, e: None)],
        "shares a migration",
    ),
    "no SQL back": ([migrations.RunSQL("SELECT 1")], "no reverse_sql"),
    "SQL that waits": (
        [migrations.RunSQL("CREATE INDEX x ON coaching_lift (reps)", "DROP INDEX x")],
        "without CONCURRENTLY",
    ),
    "SQL that renames": (
        [migrations.RunSQL("ALTER TABLE coaching_lift RENAME reps TO n", "SELECT 1")],
        "two releases",
    ),
    "SQL that changes a type": (
        [migrations.RunSQL("ALTER TABLE coaching_lift ALTER COLUMN reps TYPE text", "SELECT 1")],
        "rewrites the table",
    ),
    "unknown": ([UnknownOperation(lambda a, e: None, lambda a, e: None)], "not known to be safe"),
}
GOOD = {
    "a new table with all that it needs": [
        NEW_TABLE,
        migrations.AddField("fresh", "lift", models.ForeignKey("coaching.Lift", models.PROTECT)),
        migrations.AddIndex("fresh", models.Index(fields=["lift"], name="fresh_idx")),
        migrations.AddConstraint("fresh", models.UniqueConstraint(fields=["lift"], name="fresh_once")),
        secured("coaching_fresh"),
    ],
    "null": [add(models.IntegerField(null=True))],
    "a default of the database": [add(models.IntegerField(db_default=3))],
    "the time of the migration": [add(models.DateTimeField(db_default=Now()))],
    "a check": [AddCheckOnBusyTable("lift", CHECK)],
    "a check of before, validated": [ValidateCheck("lift", "any_check")],
    "longer": [alter("name", models.CharField(max_length=80))],
    "may be null": [alter("reps", models.IntegerField(null=True))],
    "words of Python": [alter("reps", models.IntegerField(default=3, help_text="x"))],
    "unused by the code": [state_alone(migrations.RemoveField("lift", "note"))],
    "rows apart": [migrations.RunPython(lambda a, e: None, migrations.RunPython.noop)],
    "policies": [secured("coaching_lift")],
    "a key without its index": [
        DropKeysIndex("lift", "plan", models.ForeignKey("coaching.Plan", models.PROTECT, db_index=False))
    ],
}
ALONE = {
    "an index": AddIndexOnBusyTable("lift", INDEX),
    "a unique constraint": AddUniqueOnBusyTable("lift", UNIQUE),
    "a key": AddKeyOnBusyTable("lift", "plan", models.ForeignKey("coaching.Plan", models.PROTECT, null=True)),
}


@pytest.fixture
def before() -> ProjectState:
    state = ProjectState()
    fields = [
        ("id", models.BigAutoField(primary_key=True)),
        ("uid", models.UUIDField(default=uuid.uuid4)),
        ("name", models.CharField(max_length=40)),
        ("note", models.CharField(max_length=20, null=True)),
        ("reps", models.IntegerField()),
    ]
    state.add_model(ModelState("coaching", "Plan", [("id", models.BigAutoField(primary_key=True))]))
    state.add_model(ModelState("coaching", "Lift", fields))
    return state


def migration(operations, **said):
    made = type("Migration", (migrations.Migration,), {"operations": operations, "dependencies": []} | said)
    return made("9999_any", "coaching")


@pytest.mark.parametrize("name", BAD)
def test_what_would_hold_up_the_service_is_refused(before, name):
    operations, told = BAD[name]
    found = list(faults(migration(operations), before))
    assert any(told in fault for fault in found), found


@pytest.mark.parametrize("name", GOOD)
def test_what_holds_up_nobody_passes(before, name):
    assert list(faults(migration(GOOD[name]), before)) == []


@pytest.mark.parametrize("name", ALONE)
def test_what_runs_outside_of_a_transaction_is_alone_in_its_migration(before, name):
    assert list(faults(migration([ALONE[name]], atomic=False), before)) == []
    together = migration([ALONE[name], add(models.IntegerField(null=True))], atomic=False)
    assert any("one operation" in fault for fault in faults(together, before))


@pytest.mark.parametrize(("since", "is_refused"), [("0.0.9", False), ("0.1.0", True), ("9.0", True)])
def test_a_column_is_dropped_a_release_after_the_code_left_it(before, since, is_refused):
    dropping = migration([DropColumn("coaching_lift", "note", "text NULL")], unused_since=since)
    assert bool(list(faults(dropping, before))) == is_refused


def test_the_ways_that_the_recipe_names_keep_the_rules_one_after_the_other():
    """Those of tests/trial, which test_busy_tables.py runs."""
    state = ProjectState()
    names = sorted(each.name for each in pkgutil.iter_modules(trial.__path__))
    assert len(names) == 12
    for name in names:
        made = importlib.import_module(f"{trial.__name__}.{name}").Migration(name, "trial")
        assert list(faults(made, state)) == [], name
        state = made.mutate_state(state)


def test_the_migrations_of_this_project_keep_the_rules():
    assert main() == 0


def test_a_migration_of_this_project_that_breaks_one_is_named(monkeypatch, capsys):
    monkeypatch.setattr(migration_rules, "BASE", 10)
    assert main() == 1
    assert "0011_people: AddConstraint: all rows are read under a lock" in capsys.readouterr().err
