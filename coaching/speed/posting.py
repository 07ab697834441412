"""Some posters at once, over HTTP on connections that are kept, or straight into the tables.

`python -m coaching.speed.posting` reads its work from the input: one JSON object, in which every body is
made beforehand, and then a line to begin. It prints how long each post took.
"""

import json
import sqlite3
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from http.client import HTTPConnection
from typing import Any

import psycopg

GOOD = (200, 201)
TABLES = (
    ("sets", "coaching_loggedset"),
    ("pain_reports", "coaching_painreport"),
    ("joint_days", "coaching_jointday"),
    ("lift_days", "coaching_liftday"),
    ("audit", "coaching_auditevent"),
    ("changes", "coaching_change"),
)
Post = Callable[[Any], None]


def main() -> None:
    work = json.loads(sys.stdin.readline())
    lines: list[list[float]] = [[] for _ in work["posters"]]
    begin = threading.Barrier(len(lines) + 1)
    threads = [
        threading.Thread(target=_run, args=(work, poster, begin, line))
        for poster, line in zip(work["posters"], lines, strict=True)
    ]
    for thread in threads:
        thread.start()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    begin.wait()
    for thread in threads:
        thread.join()
    sys.stdout.write(json.dumps([took_s for line in lines for took_s in line]))


def _run(work: dict[str, Any], poster: dict[str, Any], begin: threading.Barrier, took: list[float]) -> None:
    opened = _over_http if "port" in work else _into_tables
    with closing(opened(work, poster)) as door:
        begin.wait()
        for each in poster["posts"]:
            began = time.perf_counter()
            door.post(each)
            took.append(time.perf_counter() - began)


class _Http:
    def __init__(self, port: int, token: str) -> None:
        self.connection = HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def post(self, each: Sequence[str]) -> None:
        method, address, body = each
        self.connection.request(method, address, body, self.headers)
        answer = self.connection.getresponse()
        said = answer.read()
        if answer.status not in GOOD:
            raise RuntimeError(f"{method} {address} was answered {answer.status}: {said[:300]!r}")

    def close(self) -> None:
        self.connection.close()


def _over_http(work: dict[str, Any], poster: dict[str, Any]) -> Any:
    return _Http(work["port"], poster["token"])


class _Sqlite:
    def __init__(self, file: str) -> None:
        self.connection = sqlite3.connect(file, isolation_level=None, timeout=60)
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
            self.connection.execute(f"PRAGMA {pragma}")

    def post(self, each: dict[str, Any]) -> None:
        self.connection.execute("BEGIN IMMEDIATE")
        session_id = self.connection.execute(*_one("coaching_session", each["session"], "?")).lastrowid
        for name, table in TABLES:
            rows = [_held(row, name, session_id) for row in each[name]]
            sql, _ = _one(table, rows[0], "?")
            self.connection.executemany(sql, [list(row.values()) for row in rows])
        self.connection.execute("COMMIT")

    def close(self) -> None:
        self.connection.close()


class _Postgresql:
    """One insert from arrays for each table, planned once."""

    def __init__(self, address: str, practice_id: int) -> None:
        self.connection = psycopg.connect(address, prepare_threshold=0)
        self.connection.execute("SELECT set_config('forbear.practice', %s, false)", [str(practice_id)])
        kinds = self.connection.execute(
            "SELECT table_name, column_name, udt_name FROM information_schema.columns "
            "WHERE table_schema = 'public'"
        )
        self.kinds = {(table, column): kind for table, column, kind in kinds}
        self.connection.commit()

    def post(self, each: dict[str, Any]) -> None:
        session_id = self._insert("coaching_session", [each["session"]], " RETURNING id")
        for name, table in TABLES:
            self._insert(table, [_held(row, name, session_id) for row in each[name]])
        self.connection.commit()

    def _insert(self, table: str, rows: Sequence[dict[str, Any]], tail: str = "") -> Any:
        names = list(rows[0])
        kinds = [self.kinds[table, name] for name in names]
        arrays = ", ".join(f"%s::{'text' if kind == 'varchar' else kind}[]" for kind in kinds)
        sql: Any = f"INSERT INTO {table} ({', '.join(names)}) SELECT * FROM unnest({arrays}){tail}"  # noqa: S608
        found = self.connection.execute(sql, [[row[name] for row in rows] for name in names])
        return found.fetchone()[0] if tail else None  # type: ignore[index]

    def close(self) -> None:
        self.connection.close()


def _into_tables(work: dict[str, Any], poster: dict[str, Any]) -> Any:
    if "file" in work:
        return _Sqlite(work["file"])
    return _Postgresql(work["database"], poster["practice_id"])


def _held(row: dict[str, Any], name: str, session_id: Any) -> dict[str, Any]:
    return row | {"session_id": session_id} if name in ("sets", "pain_reports") else row


def _one(table: str, row: dict[str, Any], slot: str) -> tuple[str, list[Any]]:
    slots = ", ".join([slot] * len(row))
    return f"INSERT INTO {table} ({', '.join(row)}) VALUES ({slots})", list(row.values())  # noqa: S608


if __name__ == "__main__":
    main()
