"""Many clients made of a few: every row of a practice copied under new ids, by COPY or in bulk."""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, closing, contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any

import psycopg
from psycopg import sql

from coaching.speed.own_database import OwnDatabase

OF_PRACTICE = ("practice", "membership", "plan", "planversion", "planday", "block", "prescription")
OF_CLIENT = (
    "client", "consent", "injury", "assignment", "scheduledsession", "session", "loggedset", "painreport",
    "jointday", "liftday",
)  # fmt: skip
UNIQUE_TEXTS = ("uid", "audit_key")
# Keys that are named otherwise than what they point at.
POINTS_AT = {"coach": "membership", "version": "planversion", "day": "planday", "plan_day": "planday",
             "plan_version": "planversion", "scheduled_session": "scheduledsession"}  # fmt: skip
NULL = "\\N"
UNIQUE_CONSTRAINTS = (
    "SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint "
    "WHERE conrelid = %s::regclass AND contype = 'u'"
)
OTHER_INDEXES = (
    "SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid) FROM pg_index "
    "WHERE indrelid = %s::regclass AND NOT indisprimary "
    "AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = indexrelid AND contype = 'u')"
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The template rows of one table; `moves` says by which table's step a column goes up."""

    table: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    moves: tuple[tuple[int, str], ...]
    uniques: tuple[int, ...]


Steps = dict[str, int]


def spread(own: OwnDatabase, *, clients: int, practices: int, tell: Callable[[str], object]) -> int:
    """Copy the one practice there is until there are so many of them, with so many clients in all.

    Returns how many clients there are then: templates are copied whole.
    """
    with _writer(own) as writer:
        sheets = {name: _sheet(writer, name) for name in (*OF_PRACTICE, *OF_CLIENT)}
        steps = {name: _step(sheet) for name, sheet in sheets.items()}
        n_templates = len(sheets["client"].rows)
        blocks = -(-clients // n_templates)
        for name in OF_PRACTICE:
            copies = ((practice, practice) for practice in range(1, practices))
            writer.write(sheets[name], steps, copies)
        for name in OF_CLIENT:
            tell(f"{blocks * len(sheets[name].rows):,} rows of {name}")
            copies = ((block % practices, block) for block in range(1, blocks))
            with writer.without_indexes(sheets[name].table):
                writer.write(sheets[name], steps, copies)
        writer.finish([*OF_PRACTICE, *OF_CLIENT])
    return blocks * n_templates


def _step(sheet: Sheet) -> int:
    own_id = sheet.columns.index("id")
    ids = [int(row[own_id]) for row in sheet.rows]
    return max(ids) - min(ids) + 1 if ids else 1


def _sheet(writer: "SqliteWriter | PostgresqlWriter", name: str) -> Sheet:
    columns, rows = writer.read(f"coaching_{name}")
    known = (*OF_PRACTICE, *OF_CLIENT)
    moves = []
    for place, column in enumerate(columns):
        target = column.removesuffix("_id")
        target = name if column == "id" else POINTS_AT.get(target, target)
        if (column == "id" or column.endswith("_id")) and target in known:
            moves.append((place, target))
    uniques = tuple(place for place, column in enumerate(columns) if column in UNIQUE_TEXTS)
    return Sheet(f"coaching_{name}", columns, rows, tuple(moves), uniques)


def _moved_by(sheet: Sheet, steps: Steps, practice: int, block: int) -> dict[int, int]:
    return {
        place: steps[target] * (practice if target in OF_PRACTICE else block) for place, target in sheet.moves
    }


class SqliteWriter:
    def __init__(self, own: OwnDatabase) -> None:
        self.connection = sqlite3.connect(own.file)
        self.connection.execute("PRAGMA synchronous=OFF")  # a bench's own rows; the service sets it anew

    def read(self, table: str) -> tuple[tuple[str, ...], tuple[tuple[Any, ...], ...]]:
        cursor = self.connection.execute(f"SELECT * FROM {table} ORDER BY id")  # noqa: S608 - our own name
        return tuple(each[0] for each in cursor.description), tuple(cursor.fetchall())

    def without_indexes(self, table: str) -> AbstractContextManager[None]:
        return nullcontext()

    def write(self, sheet: Sheet, steps: Steps, copies: Iterator[tuple[int, int]]) -> None:
        places = ", ".join("?" * len(sheet.columns))
        names = ", ".join(sheet.columns)
        statement = f"INSERT INTO {sheet.table} ({names}) VALUES ({places})"  # noqa: S608 - our own names
        for practice, block in copies:
            self.connection.executemany(statement, _rows(sheet, steps, practice, block))

    def finish(self, names: Sequence[str]) -> None:
        self.connection.execute("ANALYZE")
        self.connection.commit()


def _rows(sheet: Sheet, steps: Steps, practice: int, block: int) -> Iterator[list[Any]]:
    moved_by = _moved_by(sheet, steps, practice, block)
    for row in sheet.rows:
        cells = list(row)
        for place, step in moved_by.items():
            if cells[place] is not None:
                cells[place] += step
        for place in sheet.uniques:
            cells[place] = _unique(cells[place], block if sheet.table[9:] in OF_CLIENT else practice)
        yield cells


def _unique(text: str, copy: int) -> str:
    """An id of its own for each copy: the templates' ids differ behind their first eight digits."""
    return f"{copy:08x}{text[8:]}"


class PostgresqlWriter:
    def __init__(self, own: OwnDatabase) -> None:
        self.connection = psycopg.connect(own.owner)
        self.connection.execute("SET session_replication_role = replica")  # every key is right as made
        self.connection.execute("SET maintenance_work_mem = '1GB'")

    def read(self, table: str) -> tuple[tuple[str, ...], tuple[tuple[Any, ...], ...]]:
        found = self.connection.execute(
            "SELECT attname FROM pg_attribute WHERE attrelid = %s::regclass AND attnum > 0 "
            "AND NOT attisdropped ORDER BY attnum",
            [table],
        ).fetchall()
        columns = tuple(str(name) for (name,) in found)
        cells = sql.SQL(", ").join(sql.SQL("{}::text").format(sql.Identifier(name)) for name in columns)
        rows = self.connection.execute(
            sql.SQL("SELECT {} FROM {} ORDER BY {}").format(
                cells, sql.Identifier(table), sql.Identifier(table, "id")
            )
        ).fetchall()
        return columns, tuple(rows)

    @contextmanager
    def without_indexes(self, table: str) -> Iterator[None]:
        """All but the primary key's are made again at the end, which is faster than row by row."""
        constraints = self.connection.execute(UNIQUE_CONSTRAINTS, [table]).fetchall()
        indexes = self.connection.execute(OTHER_INDEXES, [table]).fetchall()
        named = sql.Identifier(table)
        for name, _ in constraints:
            self.connection.execute(
                sql.SQL("ALTER TABLE {} DROP CONSTRAINT {}").format(named, sql.Identifier(name))
            )
        for name, _ in indexes:
            self.connection.execute(sql.SQL("DROP INDEX {}").format(sql.Identifier(name)))
        yield
        for name, definition in constraints:
            self.connection.execute(
                sql.SQL("ALTER TABLE {} ADD CONSTRAINT {} {}").format(
                    named, sql.Identifier(name), sql.SQL(definition)
                )
            )
        for _, definition in indexes:
            self.connection.execute(definition)

    def write(self, sheet: Sheet, steps: Steps, copies: Iterator[tuple[int, int]]) -> None:
        lines = [_line(sheet, row) for row in sheet.rows]
        columns = sql.SQL(", ").join(map(sql.Identifier, sheet.columns))
        copy = sql.SQL("COPY {} ({}) FROM STDIN").format(sql.Identifier(sheet.table), columns)
        is_of_client = sheet.table.removeprefix("coaching_") in OF_CLIENT
        with self.connection.cursor().copy(copy) as target:
            for practice, block in copies:
                moved_by = _moved_by(sheet, steps, practice, block)
                own = block if is_of_client else practice
                target.write("".join(line.filled(moved_by, own) for line in lines))

    def finish(self, names: Sequence[str]) -> None:
        for name in names:
            self.connection.execute(
                sql.SQL(
                    "SELECT setval(pg_get_serial_sequence({name}, 'id'), (SELECT max(id) FROM {table}))"
                ).format(name=sql.Literal(f"coaching_{name}"), table=sql.Identifier(f"coaching_{name}"))
            )
        self.connection.commit()
        self.connection.autocommit = True
        self.connection.execute("VACUUM ANALYZE")


@dataclass(frozen=True, slots=True)
class _Line:
    """One row in COPY's text, with a gap wherever a copy differs."""

    pattern: str
    numbers: tuple[tuple[int, int], ...]  # place and value as it is in the template; 0 for an id of text
    uniques: frozenset[int]

    def filled(self, moved_by: dict[int, int], copy: int) -> str:
        uniques = self.uniques
        return self.pattern % tuple(
            [copy if place in uniques else value + moved_by[place] for place, value in self.numbers]
        )


def _line(sheet: Sheet, row: tuple[Any, ...]) -> _Line:
    moved = {place for place, _ in sheet.moves}
    cells, numbers = [], []
    for place, cell in enumerate(row):
        if cell is None:
            cells.append(NULL)
        elif place in moved:
            cells.append("%d")
            numbers.append((place, int(cell)))
        elif place in sheet.uniques:
            cells.append("%08x" + _escaped(cell[8:]))
            numbers.append((place, 0))
        else:
            cells.append(_escaped(cell))
    return _Line("\t".join(cells) + "\n", tuple(numbers), frozenset(sheet.uniques))


def _escaped(cell: str) -> str:
    for plain, escaped in (("\\", "\\\\"), ("\t", "\\t"), ("\n", "\\n"), ("\r", "\\r"), ("%", "%%")):
        cell = cell.replace(plain, escaped)
    return cell


@contextmanager
def _writer(own: OwnDatabase) -> Iterator[SqliteWriter | PostgresqlWriter]:
    writer = SqliteWriter(own) if own.engine == "sqlite" else PostgresqlWriter(own)
    with closing(writer.connection):
        yield writer
