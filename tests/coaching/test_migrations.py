"""Migrations go back as well as forward, step by step, with rows in every table."""

import json
from typing import Any

import pytest

from tests.own_databases import ENGINES, own_database

# All columns of all tables: how many rows, and a digest of their values, whatever their order.
WALK = """
import hashlib, json
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

def columns():
    found = {}
    with connection.cursor() as cursor:
        for table in set(connection.introspection.table_names(cursor)) - {"django_migrations"}:
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            names, rows = [each[0] for each in cursor.description], cursor.fetchall()
            for at, name in enumerate(names):
                values = "".join(sorted(json.dumps(row[at], default=str, sort_keys=True) for row in rows))
                found[f"{table}.{name}"] = [len(rows), hashlib.sha256(values.encode()).hexdigest()]
    return found

names = sorted(name for app, name in MigrationLoader(None).disk_migrations if app == "coaching")
seen = [[names[-1], columns()]]
for name in reversed(names[:-1]):
    call_command("migrate", "coaching", name, verbosity=0)
    seen.append([name, columns()])
call_command("migrate", verbosity=0)
seen.append(["and forward again", columns()])
print(json.dumps(seen))
"""
# What 0001 has no place for is made anew on the way forward, and not as it was.
MADE_ANEW = {
    "coaching_change": "0005 tells the feed of what is there, under new ids",
    "coaching_block.levers": "0002 gives back-to-back pairs the levers that they had before",
    "coaching_musclerole.id": "the catalogue is loaded once all migrations are applied",
    "coaching_jointstress.id": "the same",
}


@pytest.mark.parametrize("engine", ENGINES)
def test_with_rows_in_every_table_the_schema_goes_back_step_by_step_and_forward_again(engine, tmp_path):
    """What an older schema has a place for is the same row after each step back, and after all forward."""
    with own_database(engine, tmp_path / "var") as own:
        own.migrate()
        own.python("from tests.filled import fill; fill()")
        steps: list[tuple[str, dict[str, Any]]] = json.loads(own.python(WALK))
    (_, first), *back, (_, last) = steps
    kept = set(first)
    for name, columns in back:
        kept &= set(columns)
        assert {key for key in kept if columns[key] != first[key]} == set(), f"going back to {name}"
    assert len(kept) > 200
    assert set(last) == set(first)
    changed = {key for key in kept if last[key] != first[key]}
    assert {key for key in changed if not {key, key.partition(".")[0]} & MADE_ANEW.keys()} == set()
