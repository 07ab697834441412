"""Years of many clients on PostgreSQL: what grows, what a second worker brings, and sets in parts."""

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import psycopg
from psycopg import sql

from coaching.speed.measuring import Contender, Figures, Goal, Measured, TableSize, measure
from coaching.speed.night import forget_nights
from coaching.speed.own_database import BenchError, OwnDatabase, own_database
from coaching.speed.spreading import OF_CLIENT
from coaching.speed.world import make_world

ONE, TWO = "night, one process", "night, two processes"
ONE_TABLE, IN_PARTS = "sets in one table", "sets in parts"
SETS, SETS_IN_PARTS, N_PARTS = "coaching_loggedset", "sets_in_parts", 16
CLIENTS_READ, SESSIONS_WRITTEN = 200, 50


def run(
    folder: Path, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    """Raises BenchError on SQLite, which is for one practice on one machine."""
    on = datetime.now(UTC).date()
    with own_database(folder) as own:
        if own.engine != "postgresql":
            raise BenchError("What grows is measured on PostgreSQL: set DATABASE_URL.")
        clients = make_world(
            own, clients=sizes["clients"], practices=sizes["practices"], weeks=sizes["weeks"],
            sets_per_session=sizes["sets_per_session"], seed=seed, until=on, tell=tell,
        )  # fmt: skip
        tables = tuple(_table_sizes(own, tell))
        tell(f"{SETS} once more, in {N_PARTS} parts")
        _make_parts(own)
        measured = measure(
            suite="growth", database=own.engine, sizes=sizes, contenders=_contenders(own, clients),
            goals=_goals(), rounds=rounds, tell=tell,
        )  # fmt: skip
        return replace(measured, tables=tables)


def _contenders(own: OwnDatabase, clients: int) -> Sequence[Contender]:
    return (
        Contender(ONE, lambda: _nights(own, clients, processes=1)),
        Contender(TWO, lambda: _nights(own, clients, processes=2)),
        Contender(ONE_TABLE, lambda: _sets(own, SETS)),
        Contender(IN_PARTS, lambda: _sets(own, SETS_IN_PARTS)),
    )


def _goals() -> Sequence[Goal]:
    return (
        Goal("two processes against one", TWO, ONE, "took_s"),
        Goal("reading sets in parts against one table", IN_PARTS, ONE_TABLE, "read_s"),
        Goal("writing sets in parts against one table", IN_PARTS, ONE_TABLE, "write_s"),
    )


def _nights(own: OwnDatabase, clients: int, *, processes: int) -> Figures:
    """The same night by so many processes at once, which share its clients."""
    forget_nights(own)
    began = time.monotonic()
    with ThreadPoolExecutor(processes) as pool:
        runs = list(pool.map(lambda each: own.run("-m", "coaching.speed.work_through"), range(processes)))
    took_s = time.monotonic() - began
    return {
        "took_s": took_s,
        "ms_per_client": 1000 * took_s / clients,
        "peak_mb": max(run.peak_mb for run in runs),
    }


def _table_sizes(own: OwnDatabase, tell: Callable[[str], object]) -> Sequence[TableSize]:
    """Clients' tables, largest first, each vacuumed after one row in a hundred was written again."""
    found = []
    with psycopg.connect(own.owner, autocommit=True) as connection:
        rows = connection.execute(
            "SELECT relname, reltuples::bigint, pg_table_size(oid), pg_indexes_size(oid) FROM pg_class "
            "WHERE relkind = 'r' AND relname = ANY(%s) ORDER BY pg_total_relation_size(oid) DESC",
            [[f"coaching_{name}" for name in OF_CLIENT]],
        ).fetchall()
        for name, count, table_bytes, index_bytes in rows:
            tell(f"vacuum of {name}")
            table = sql.Identifier(name)
            connection.execute(
                sql.SQL("UPDATE {} SET practice_id = practice_id WHERE id % 100 = 0").format(table)
            )
            began = time.monotonic()
            connection.execute(sql.SQL("VACUUM (ANALYZE) {}").format(table))
            took_s = time.monotonic() - began
            found.append(TableSize(name, count, table_bytes / 1e6, index_bytes / 1e6, took_s))
    return found


def _make_parts(own: OwnDatabase) -> None:
    """All sets once more, spread over parts by their session, under the same indexes.

    Parts by month would need the day in every key: a set has none, and its session may move to another one.
    """
    name = sql.Identifier(SETS_IN_PARTS)
    with psycopg.connect(own.owner, autocommit=True) as connection:
        connection.execute(
            sql.SQL("CREATE TABLE {} (LIKE {} INCLUDING DEFAULTS) PARTITION BY HASH (session_id)").format(
                name, sql.Identifier(SETS)
            )
        )
        for part in range(N_PARTS):
            connection.execute(
                sql.SQL("CREATE TABLE {} PARTITION OF {} FOR VALUES WITH (MODULUS {}, REMAINDER {})").format(
                    sql.Identifier(f"{SETS_IN_PARTS}_{part}"), name, sql.Literal(N_PARTS), sql.Literal(part)
                )
            )
        connection.execute(sql.SQL("INSERT INTO {} SELECT * FROM {}").format(name, sql.Identifier(SETS)))
        connection.execute("SET maintenance_work_mem = '1GB'")
        for columns in ("session_id, position", "practice_id, uid", "exercise_id", "prescription_id"):
            connection.execute(sql.SQL("CREATE INDEX ON {} ({})").format(name, sql.SQL(columns)))
        connection.execute(sql.SQL("ANALYZE {}").format(name))


def _sets(own: OwnDatabase, table: str) -> Figures:
    """Reading four weeks of many clients; writing sets of many sessions, which is taken back.

    Read once before that: the nights have read the one table, and none of the parts.
    """
    name = sql.Identifier(table)
    with psycopg.connect(own.owner) as connection:
        sessions = [
            session
            for (session,) in connection.execute(
                "SELECT id FROM coaching_session WHERE performed_on > current_date - 28 AND client_id IN "
                "(SELECT id FROM coaching_client ORDER BY md5(id::text) LIMIT %s)",
                [CLIENTS_READ],
            )
        ]
        read = sql.SQL("SELECT * FROM {} WHERE session_id = ANY(%s) AND kind = 'work'").format(name)
        connection.execute(read, [sessions]).fetchall()
        began = time.monotonic()
        connection.execute(read, [sessions]).fetchall()
        read_s = time.monotonic() - began
        columns = sql.SQL(", ").join(map(sql.Identifier, _columns(connection)))
        values = sql.SQL(
            "SELECT {columns} FROM (SELECT {plain} FROM {table} WHERE session_id = ANY(%s)) AS t"
        ).format(columns=columns, plain=_as_new(connection), table=name)
        began = time.monotonic()
        connection.execute(
            sql.SQL("INSERT INTO {} ({}) ").format(name, columns) + values, [sessions[:SESSIONS_WRITTEN]]
        )
        write_s = time.monotonic() - began
        connection.rollback()
    return {"read_s": read_s, "write_s": write_s}


def _columns(connection: psycopg.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT attname FROM pg_attribute WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped "
        "ORDER BY attnum",
        [SETS],
    )
    return [name for (name,) in rows]


def _as_new(connection: psycopg.Connection) -> sql.Composable:
    """The columns of a set, under ids that no row has and at places that are free in its session."""
    changed = {
        "id": "-id AS id",
        "uid": "gen_random_uuid() AS uid",
        "position": "(position + 1000)::smallint AS position",
    }
    return sql.SQL(", ").join(
        sql.SQL(changed[name]) if name in changed else sql.Identifier(name) for name in _columns(connection)
    )
