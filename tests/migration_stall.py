"""How long readers wait behind a migration that waits for an idle transaction; a benchmark and no test.

`python -m tests.migration_stall --rows 1000000`, with DATABASE_URL and MIGRATION_DATABASE_URL set, makes a
database of its own beside the one named there, and drops it.
"""

import argparse
import sys
import tempfile
import threading
import time
from pathlib import Path

import psycopg

from tests.own_databases import own_database

ROWS = "INSERT INTO trial_lift (name, reps) SELECT n::text, n FROM generate_series(1, %s) AS n"
IDLE_S = 12.0
READ = "SELECT reps FROM trial_lift WHERE id = %s"
WAITS = "SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'trial_lift'::regclass"


def read_until(ended: threading.Event, address: str, n_rows: int, waited_s: list[float]) -> None:
    with psycopg.connect(address, autocommit=True) as reader:
        while not ended.is_set():
            began = time.monotonic()
            reader.execute(READ, [1 + len(waited_s) % n_rows])
            waited_s.append(time.monotonic() - began)
            time.sleep(0.002)


def let_go_later(idle: psycopg.Connection[tuple[int]], address: str) -> None:
    """Stands idle for so long from the moment when the migration first waits for it."""
    with psycopg.connect(address, autocommit=True) as watcher:
        while watcher.execute(WAITS).fetchone() == (0,):
            time.sleep(0.02)
    time.sleep(IDLE_S)
    idle.rollback()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    n_rows = parser.parse_args().rows
    with (
        tempfile.TemporaryDirectory() as name,
        own_database("postgresql", Path(name, "var")) as own,
    ):
        own.more["DJANGO_SETTINGS_MODULE"] = "tests.trial.settings"
        own.migrate("trial", "0002")
        with psycopg.connect(own.owner) as owner:
            owner.execute(ROWS, [n_rows])
        ended, waited_s = threading.Event(), list[float]()
        reader = threading.Thread(target=read_until, args=(ended, own.owner, n_rows, waited_s))
        reader.start()
        with psycopg.connect(own.owner) as idle:
            idle.execute(READ, [1])
            letting_go = threading.Thread(target=let_go_later, args=(idle, own.owner))
            letting_go.start()
            done = own.run("migrate", "trial")
            letting_go.join()
        ended.set()
        reader.join()
    print(  # noqa: T201
        f"{n_rows:,} rows; nine migrations, the first behind a transaction idle for {IDLE_S:.0f} s: "
        f"{done.warned.count('tries again')} tries given up; {len(waited_s):,} reads, the longest "
        f"{max(waited_s) * 1000:.0f} ms"
    )
    return done.code


if __name__ == "__main__":
    sys.exit(main())
