"""A dump by PostgreSQL's own programs, in one snapshot with the counting; and back, in one transaction."""

import os
import re
import shutil
import subprocess  # PostgreSQL's own programs, with our own words  # nosec B404
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import IO

from django.db import connection, transaction

from coaching.backups.archive import AT_ONCE, Backup
from coaching.backups.manifest import Counted
from coaching.backups.refusals import BackupFailedError

Tell = Callable[[str], None]

# Names of libpq for what Django hands to it; on a command line others of the machine could read them.
VARIABLES = {
    "host": "PGHOST", "hostaddr": "PGHOSTADDR", "port": "PGPORT", "user": "PGUSER", "password": "PGPASSWORD",
    "dbname": "PGDATABASE", "service": "PGSERVICE", "passfile": "PGPASSFILE", "sslmode": "PGSSLMODE",
    "sslrootcert": "PGSSLROOTCERT", "sslcert": "PGSSLCERT", "sslkey": "PGSSLKEY",
}  # fmt: skip
TABLES = (
    "SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace ORDER BY 1"
)
# Texts of rows are the same everywhere under these.
ALIKE = (
    "SET LOCAL TimeZone = 'UTC'; SET LOCAL DateStyle = 'ISO, YMD'; SET LOCAL IntervalStyle = 'postgres'; "
    "SET LOCAL extra_float_digits = 3; SET LOCAL bytea_output = 'hex'"
)
# It stands idle while pg_dump reads, and counts for longer than a request may take.
UNHURRIED = "SET LOCAL statement_timeout = 0; SET LOCAL idle_in_transaction_session_timeout = 0"
COUNT = (
    "SELECT count(*) || ' ' || coalesce(sum(('x' || left(md5(the_row::text), 16))::bit(64)::bigint), 0) "
    "FROM public.{table} AS the_row"
)
HOLDS = """
DO $check$ BEGIN
    IF ({count}) <> '{rows} {checksum}' THEN
        RAISE EXCEPTION 'the rows of {name} are not those of the backup';
    END IF;
END $check$;
"""
# Before anybody else can see the rows: nothing is sent from here until that is confirmed.
HOLD = """
INSERT INTO public.coaching_installation (name, mark, seen_at, is_held)
VALUES ('this', gen_random_uuid(), now(), true) ON CONFLICT (name) DO UPDATE SET is_held = true;
"""
FUNCTIONS = """
    SELECT format('DROP FUNCTION IF EXISTS %s CASCADE;', oid::regprocedure) FROM pg_proc
    WHERE pronamespace = 'public'::regnamespace
    AND NOT EXISTS (SELECT 1 FROM pg_depend WHERE objid = pg_proc.oid AND deptype = 'e')
"""


@contextmanager
def snapshot() -> Iterator[str]:
    """One view of all rows, for this connection and for a program that is told its id."""
    with transaction.atomic(durable=True), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        cursor.execute(UNHURRIED)
        cursor.execute("SELECT pg_export_snapshot()")
        yield str(cursor.fetchone()[0])


def tables() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(TABLES)
        return [name for (name,) in cursor.fetchall()]


def count_tables(tell: Tell) -> dict[str, Counted]:
    """Of the snapshot, within it."""
    counted = {}
    with connection.cursor() as cursor:
        cursor.execute(ALIKE)
        for name in tables():
            tell(f"counting {name}")
            cursor.execute(_count(name))
            rows, checksum = cursor.fetchone()[0].split(" ")
            counted[name] = Counted(int(rows), checksum)
    return counted


def version() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version")
        return str(cursor.fetchone()[0])


def check_programs(*names: str) -> None:
    """Raises BackupFailedError where one is missing, or is older than the server."""
    needed = connection.pg_version // 10000  # type: ignore[attr-defined]  # of this backend alone
    for name in names:
        if shutil.which(name) is None:
            raise BackupFailedError(
                f"{name} is not on the PATH: install PostgreSQL's client programs, {needed} or newer."
            )
        told = subprocess.run([name, "--version"], capture_output=True, text=True, check=True).stdout  # noqa: S603  # nosec B603
        found = re.search(r"(\d+)(\.\d+)?", told)
        if found is None or int(found[1]) < needed:
            raise BackupFailedError(f"{told.strip()} is older than the server: install {needed} or newer.")


def dump(snapshot_id: str, tell: Tell) -> Iterator[bytes]:
    """What pg_dump writes. By a pipe, since it would note places in a file that is not all its own."""
    words = ["pg_dump", "--format=custom", f"--snapshot={snapshot_id}", "--enable-row-security"]
    words += ["--no-owner", "--no-privileges", "--no-password", "--lock-wait-timeout=10s"]
    written = 0
    with _started(words) as process:
        while piece := _given(process.stdout).read(AT_ONCE):
            yield piece
            written += len(piece)
            tell(f"{written / 1e6:,.0f} MB of the dump")


def rows_in(backup: Backup, tell: Tell) -> dict[str, int]:
    """How many rows the dump has for each table, read back from the file."""
    counted: dict[str, int] = {}
    for name, line in _data_lines(_script(backup, "--data-only")):
        counted.setdefault(name, 0)
        if line is not None:
            counted[name] += 1
            if counted[name] % 100_000 == 0:
                tell(f"reading back {name}: {counted[name]:,} rows")
    return counted


def restore(backup: Backup, *, is_replacing: bool, tell: Tell) -> None:
    """All of it, compared with the manifest, or nothing: one transaction, in which it is held as well."""
    # What is read from the catalogue must not be held open in a transaction of ours.
    clearing = _clearing() if is_replacing else []
    connection.close()
    words = ["psql", "--no-psqlrc", "--quiet", "--no-password", "--set=ON_ERROR_STOP=1"]
    words += ["--set=VERBOSITY=terse", "--file=-"]
    with _started(words, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL) as process:
        sink, written = _given(process.stdin), 0
        with suppress(BrokenPipeError):  # what psql did not like it has told
            sink.write(b"BEGIN;\nSET LOCAL lock_timeout = '10s';\n" + "\n".join(clearing).encode())
            for piece in _for_older_servers(_script(backup)):
                sink.write(piece)
                written += len(piece)
                tell(f"{written / 1e6:,.0f} MB of rows written")
            tell("comparing every table with the manifest")
            sink.write(_comparing(backup.manifest.tables))
            sink.write(b"COMMIT;\n")
            sink.close()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(UNHURRIED)
        cursor.execute("ANALYZE")


def _count(name: str) -> str:
    return COUNT.format(table=connection.ops.quote_name(name))


def _comparing(counted: Mapping[str, Counted]) -> bytes:
    script = f"\nSET row_security = on;\n{ALIKE};\n"
    for name, each in counted.items():
        script += HOLDS.format(
            count=_count(name), name=name.replace("'", "''"), rows=each.rows, checksum=each.checksum
        )
    return (script + (HOLD if "coaching_installation" in counted else "")).encode()


def _clearing() -> list[str]:
    drops = [f"DROP TABLE IF EXISTS public.{connection.ops.quote_name(name)} CASCADE;" for name in tables()]
    with connection.cursor() as cursor:
        cursor.execute(FUNCTIONS)
        return [*drops, *(statement for (statement,) in cursor.fetchall()), ""]


def _script(backup: Backup, *options: str) -> Iterator[bytes]:
    """The dump as SQL. A thread hands it to pg_restore, whose own output is read here meanwhile."""
    words = ["pg_restore", "--file=-", "--no-owner", "--no-privileges", "--enable-row-security", *options]
    with _started(words, stdin=subprocess.PIPE) as process:
        feeder = threading.Thread(target=_feed, args=(_given(process.stdin), backup.dump()), daemon=True)
        feeder.start()
        while piece := _given(process.stdout).read(AT_ONCE):
            yield piece
        feeder.join()


def _for_older_servers(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Programs from 17 on begin with a setting that servers before it refuse; it says what holds anyway."""
    for at, piece in enumerate(pieces):
        yield piece if at else piece.replace(b"SET transaction_timeout = 0;\n", b"", 1)


def _feed(sink: IO[bytes], pieces: Iterable[bytes]) -> None:
    with suppress(BrokenPipeError, ValueError), sink:
        for piece in pieces:
            sink.write(piece)


def _data_lines(pieces: Iterable[bytes]) -> Iterator[tuple[str, bytes | None]]:
    """Each table once with None, then with each of its lines."""
    table = None
    for line in _lines(pieces):
        if table is None:
            if found := re.match(rb"COPY public\.(\S+) \(.*\) FROM stdin;", line):
                table = found[1].decode().strip('"')
                yield table, None
        elif line == b"\\.":
            table = None
        else:
            yield table, line


def _lines(pieces: Iterable[bytes]) -> Iterator[bytes]:
    rest = b""
    for piece in pieces:
        *whole, rest = (rest + piece).split(b"\n")
        yield from whole


def _environment() -> dict[str, str]:
    told = connection.get_connection_params()
    named = {VARIABLES[name]: str(value) for name, value in told.items() if name in VARIABLES and value}
    # Rows of every practice, for the policies hold for the owner too.
    return os.environ | named | {"PGOPTIONS": "-c forbear.practice=* -c statement_timeout=0", "PGTZ": "UTC"}


@contextmanager
def _started(
    words: list[str], *, stdin: int = subprocess.DEVNULL, stdout: int = subprocess.PIPE
) -> "Iterator[subprocess.Popen[bytes]]":
    """A program that is ended with the block. Raises BackupFailedError with what it told if it failed."""
    with tempfile.TemporaryFile() as told:
        process = subprocess.Popen(  # noqa: S603 - our own words, no shell  # nosec B603
            words, stdin=stdin, stdout=stdout, stderr=told, env=_environment()
        )
        try:
            yield process
            code = process.wait()
        finally:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                if pipe is not None:
                    with suppress(OSError):
                        pipe.close()
        if code != 0:
            told.seek(0)
            raise BackupFailedError(f"{words[0]} failed: {_reason(told.read().decode(errors='replace'))}")


def _given(pipe: IO[bytes] | None) -> IO[bytes]:
    """A pipe of a program that was started with one."""
    if pipe is None:
        raise ValueError("The program was started without this pipe.")
    return pipe


def _reason(text: str) -> str:
    """The line that says why, without those that may hold what stands in a row."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    for line in lines:
        if re.search(r"\b(error|ERROR|FATAL)\b", line):
            return line.rstrip(".") + "."
    return (lines[-1].rstrip(".") if lines else "it said nothing") + "."
