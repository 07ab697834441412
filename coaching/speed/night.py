"""The night as a whole process, against draining its rows, and against a loop over clients with pandas."""

import sqlite3
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql

from coaching.reads.night_series import WINDOW_DAYS
from coaching.speed.measuring import Contender, Figures, Goal, Measured, measure
from coaching.speed.own_database import OwnDatabase, made_in, own_database
from coaching.speed.world import make_world

OURS, SHARED, A_TENTH = "night", "night, two processes", "night, a tenth of the clients"
DRAIN, LOOP = "drain", "pandas loop"
LOOP_OVER_AT_MOST = 100
WRITTEN = ("score", "alert", "nightclient", "night", "mailrow", "change", "webhookdelivery")
JOINT_COLUMNS = ("client_id", "joint", "side", "day_on", "joint_reps", "pain", "pain_next_morning")
LIFT_COLUMNS = (
    "client_id",
    "exercise_id",
    "side",
    "track",
    "day_on",
    "e1rm_kg",
    "is_pain_limited",
    "is_deload",
)
ROLL_UPS = (("coaching_jointday", JOINT_COLUMNS), ("coaching_liftday", LIFT_COLUMNS))


def contenders(all_of_them: "_Practices", a_tenth: "_Practices", on: date) -> Sequence[Contender]:
    """Ours on all clients and on a tenth of them; the drain and the loop on the same rows."""
    own, clients = all_of_them.own, all_of_them.clients
    few = min(clients, LOOP_OVER_AT_MOST)
    return (
        Contender(OURS, lambda: _night(own, clients, on)),
        *_shared(all_of_them, on),
        Contender(A_TENTH, lambda: _night(a_tenth.own, a_tenth.clients, on)),
        Contender(DRAIN, lambda: _per_client(_drain(own, on), clients)),
        Contender(LOOP, lambda: _loop(own, few, on)),
    )


def _shared(all_of_them: "_Practices", on: date) -> Sequence[Contender]:
    """By both processors, as two workers; SQLite has one writer."""
    own, clients = all_of_them.own, all_of_them.clients
    if own.engine == "sqlite":
        return ()
    return (Contender(SHARED, lambda: _night(own, clients, on, "--processes", "2")),)


def goals(engine: str) -> Sequence[Goal]:
    whole = OURS if engine == "sqlite" else SHARED
    return (
        Goal("night by one process against draining its roll-up rows", OURS, DRAIN, "took_s"),
        Goal("night by both processors against draining its roll-up rows", whole, DRAIN, "took_s", 4),
        Goal("pandas loop against one process", LOOP, OURS, "ms_per_client"),
        Goal("pandas loop against both processors", LOOP, whole, "ms_per_client", 20, is_at_most=False),
        Goal("night per client against a tenth of the clients", OURS, A_TENTH, "ms_per_client", 1.2),
        Goal("peak memory against a tenth of the clients", OURS, A_TENTH, "peak_mb", 1.2),
    )


def _night(own: OwnDatabase, clients: int, on: date, *words: str) -> Figures:
    forget_nights(own)
    run = own.manage("night", "--on", on.isoformat(), *words)
    return {**_per_client(run.took_s, clients), "processor_s": run.processor_s, "peak_mb": run.peak_mb}


def _per_client(took_s: float, clients: int) -> dict[str, float]:
    return {"took_s": took_s, "ms_per_client": 1000 * took_s / clients}


def _loop(own: OwnDatabase, clients: int, on: date) -> Figures:
    run = own.run("-m", "coaching.speed.night_by_loop", "--clients", str(clients), "--on", on.isoformat())
    return _per_client(float(run.said), clients)


def forget_nights(own: OwnDatabase) -> None:
    """Whatever a night has written, and the traces of it."""
    if own.engine == "sqlite":
        forget_beside_readers(own, WRITTEN)
        return
    with psycopg.connect(own.owner, autocommit=True) as connection:
        names = sql.SQL(", ").join(sql.Identifier(f"coaching_{name}") for name in WRITTEN)
        connection.execute(sql.SQL("TRUNCATE {} CASCADE").format(names))


def forget_beside_readers(own: OwnDatabase, names: Sequence[str]) -> None:
    """The rows of these tables, without a lock that anybody who reads would wait for."""
    opened: Any = (
        sqlite3.connect(own.file, timeout=60) if own.engine == "sqlite" else psycopg.connect(own.owner)
    )
    with closing(opened) as connection:
        for name in names:
            connection.execute(f"DELETE FROM coaching_{name}")  # noqa: S608 - our own name
        connection.commit()


def _drain(own: OwnDatabase, on: date) -> float:
    """Seconds to take the rows of the window out of the database and to look at none of them."""
    began = time.monotonic()
    first_on = on - timedelta(days=WINDOW_DAYS)
    for table, columns in ROLL_UPS:
        if own.engine == "sqlite":
            with closing(sqlite3.connect(own.file)) as connection:
                asked = f"SELECT {', '.join(columns)} FROM {table} WHERE day_on >= ? AND day_on < ?"  # noqa: S608
                for _ in connection.execute(asked, [first_on.isoformat(), on.isoformat()]):
                    pass
            continue
        with psycopg.connect(own.owner) as connection:
            rows = sql.SQL("SELECT {} FROM {} WHERE day_on >= {} AND day_on < {}").format(
                sql.SQL(", ").join(map(sql.Identifier, columns)), sql.Identifier(table), first_on, on
            )
            with connection.cursor().copy(
                sql.SQL("COPY ({}) TO STDOUT (FORMAT BINARY)").format(rows)
            ) as copy:
                for _ in copy:
                    pass
    return time.monotonic() - began


@dataclass(frozen=True, slots=True)
class _Practices:
    own: OwnDatabase
    clients: int


def run(
    folder: Path, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    """Both worlds are made anew; each night begins where none has been."""
    on = datetime.now(UTC).date()
    with ExitStack() as stack:
        made = []
        for name, share in (("all", 1), ("tenth", 10)):
            own = stack.enter_context(own_database(made_in(folder, name)))
            clients = make_world(
                own, clients=sizes["clients"] // share, practices=max(1, sizes["practices"] // share),
                weeks=sizes["weeks"], sets_per_session=sizes["sets_per_session"], seed=seed, until=on,
                tell=tell,
            )  # fmt: skip
            made.append(_Practices(own, clients))
        return measure(
            suite="night", database=own.engine, sizes=sizes, goals=goals(own.engine), rounds=rounds,
            tell=tell, contenders=contenders(made[0], made[1], on),
        )  # fmt: skip
