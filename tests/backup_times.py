"""How long a backup and its restore take on PostgreSQL, with many sets; a benchmark and no test.

`python -m tests.backup_times --sets 2000000`, with DATABASE_URL and MIGRATION_DATABASE_URL set, makes two
databases of its own beside the one named there, fills one, and drops both.
"""

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

import psycopg
from psycopg import sql

from tests.own_databases import OwnDatabase, own_database

SETS_PER_SESSION = 20


def multiply(cursor: psycopg.Cursor[tuple[str]], table: str, times: int, **changed: str) -> None:
    """So many more rows like the first; whatever must differ is said as SQL with `n`, counted from 1."""
    cursor.execute("SET forbear.practice = '*'")
    cursor.execute(
        "SELECT attname FROM pg_attribute WHERE attrelid = %s::regclass AND attnum > 0 "
        "AND NOT attisdropped AND attidentity = ''",
        [table],
    )
    columns = [name for (name,) in cursor.fetchall()]
    values = sql.SQL(", ").join(
        sql.SQL(changed[name]) if name in changed else sql.Identifier("like_it", name)  # type: ignore[arg-type]
        for name in columns
    )
    cursor.execute(
        sql.SQL(
            "INSERT INTO {table} ({columns}) SELECT {values} FROM generate_series(1, {times}) AS n, "
            "(SELECT * FROM {table} ORDER BY id LIMIT 1) AS like_it"
        ).format(
            table=sql.Identifier(table),
            columns=sql.SQL(", ").join(map(sql.Identifier, columns)),
            values=values,
            times=times,
        )
    )


def generate(own: OwnDatabase, n_sets: int) -> None:
    own.migrate()
    own.python("from tests.filled import fill; fill()")
    with psycopg.connect(own.owner) as owner, owner.cursor() as cursor:
        cursor.execute("SELECT max(id) FROM coaching_session")
        (last,) = cursor.fetchone() or (0,)
        multiply(cursor, "coaching_session", n_sets // SETS_PER_SESSION, uid="gen_random_uuid()",
                 performed_on="date '2020-01-01' + (n % 2000)::int")  # fmt: skip
        multiply(
            cursor, "coaching_loggedset", n_sets, uid="gen_random_uuid()",
            session_id=f"{last} + 1 + (n - 1) / {SETS_PER_SESSION}", position=f"(n % {SETS_PER_SESSION})",
            load_thousandths="20000 + 2500 * (n % 40)::int", reps="1 + (n % 12)", rir="(n % 9) / 2.0",
        )  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=2_000_000)
    n_sets = parser.parse_args().sets
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    with tempfile.TemporaryDirectory() as name:
        folder, file = Path(name), Path(name, "big.backup")
        with (
            own_database("postgresql", folder / "one") as one,
            own_database("postgresql", folder / "two") as two,
        ):
            generate(one, n_sets)
            for own, words in (
                (one, ("backup", "--to", str(file), "--json")),
                (two, ("restore", "--from", str(file), "--json")),
            ):
                began = time.monotonic()
                told = own.run(*words).told()
                took = time.monotonic() - began
                print(f"{words[0]}: {took:.1f} s, {told['rows']:,} rows")  # noqa: T201
            print(f"file: {file.stat().st_size / 1e6:.1f} MB")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
