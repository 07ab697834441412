"""A file of plans: CSV in UTF-8, comma or semicolon between the cells, one row per prescription.

The first line names the columns, in any order.

  plan          the plan's id (UUID); default made from all the plan says
  plan_name     its name; rows without a plan id belong together by it
  version       1 and on, each as it was; default 1
  weeks         how long it is; deload_weeks like 4 8, counted from 1, default none
  day           the day's number in the version; weekday 0 is Monday; day_name
  block         the block's number in the day; block_kind straight_sets or back_to_back;
                block_rest_s, default 120; levers in their order, like reps load, none for no lever,
                default those of the kind
  prescription  its id (UUID), default new; position, its number in the block
  exercise      the exercise's code, like back_squat; side, sets
  reps_low, reps_high, or duration_s
  effort_target failure, or reps_in_reserve with rir_target
  load_rule     from_history, fixed with load_kg, or share_of_1rm with share_of_1rm
  tempo, rest_s default none
  has_warm_up_ramp
                yes or no, default no; warm_up_steps like 0.5x5/30 0.7x3/30: share of the work load,
                repetitions, seconds of rest after it
  alternatives  codes of exercises, the best first

At most 50 MB and 500,000 rows.
"""

import re
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from coaching.exchange.cell_text import number_cell
from coaching.exchange.cells import Cells
from coaching.exchange.columns import PLANS_FILE
from coaching.exchange.table import Tell, rows_of
from coaching.models import DEFAULT_LEVERS, BlockKind, EffortTarget, Lever, LoadRule, SetSide
from coaching.operations.import_rows import PlanInFile, PlanVersionInFile, RowProblem
from coaching.reads.plans import BlockContent, DayContent, PlanContent, PrescriptionContent, WarmUpStep

NEEDED = (
    *("plan_name", "weeks", "day", "weekday", "day_name", "block", "block_kind"),
    *("exercise", "sets", "effort_target", "load_rule"),
)
NO_LEVER = "none"
MOST_DAYS, MOST_BLOCKS, MOST_PRESCRIPTIONS, MOST_STEPS, MOST_ALTERNATIVES = 14, 20, 10, 8, 8
MOST_WEEKS = 104
WEEK = re.compile(r"\d{1,3}", re.ASCII)
STEP = re.compile(r"(\d(?:\.\d{1,30})?)x(\d{1,2})/(\d{1,4})", re.ASCII)


@dataclass(frozen=True, slots=True)
class _Block:
    number: int
    kind: str
    rest_s: int
    levers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Day:
    number: int
    weekday: int
    name: str


@dataclass(frozen=True, slots=True)
class _Version:
    number: int
    weeks: int
    deload_weeks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    plan: uuid.UUID | None
    name: str
    version: _Version
    day: _Day
    block: _Block
    prescription_uid: uuid.UUID | None
    position: int
    content: PrescriptionContent
    problems: tuple[RowProblem, ...]


def read_plans(
    text: str,
    *,
    zone: str | None = None,
    max_rows: int | None = None,
    tell: Tell = lambda n_rows: None,
) -> list[PlanInFile]:
    """The text's plans, each with what is wrong with its rows. Raises InvalidError for no such table."""
    rows = [
        _read_row(cells)
        for cells in rows_of(text, PLANS_FILE, NEEDED, zone=zone, max_rows=max_rows, tell=tell)
    ]
    found: dict[object, list[_Row]] = {}
    for row in rows:
        found.setdefault(row.plan or row.name, []).append(row)
    return [_plan(its) for its in found.values()]


def steps_cell(steps: Iterable[WarmUpStep]) -> str:
    return " ".join(f"{number_cell(step.share_of_work_load)}x{step.reps}/{step.rest_s}" for step in steps)


def _read_row(cells: Cells) -> _Row:
    kind = cells.one_of("block_kind", BlockKind.values, "")
    row = _Row(
        line=cells.line,
        plan=cells.id("plan"),
        name=_named(cells, "plan_name", 120),
        version=_Version(
            number=_whole(cells, "version", 1, 10_000, 1),
            weeks=_whole(cells, "weeks", 1, MOST_WEEKS),
            deload_weeks=_weeks(cells),
        ),
        day=_Day(
            _whole(cells, "day", 1, MOST_DAYS), _whole(cells, "weekday", 0, 6), _named(cells, "day_name", 80)
        ),
        block=_Block(
            _whole(cells, "block", 1, MOST_BLOCKS),
            kind,
            _whole(cells, "block_rest_s", 0, 3600, 120),
            _levers(cells, kind),
        ),
        prescription_uid=cells.id("prescription"),
        position=_whole(cells, "position", 0, MOST_PRESCRIPTIONS, 0),
        content=_read_content(cells),
        problems=(),
    )
    return replace(row, problems=tuple(cells.problems))


def _read_content(cells: Cells) -> PrescriptionContent:
    alternatives = tuple(cells.cells.get("alternatives", "").split())
    if len(alternatives) > MOST_ALTERNATIVES:
        cells.note("alternatives", "max_length", f"At most {MOST_ALTERNATIVES} alternatives.")
    return PrescriptionContent(
        exercise=cells.text("exercise"),
        side=cells.one_of("side", SetSide.values, SetSide.BOTH.value),
        sets=_whole(cells, "sets", 1, 50),
        reps_low=cells.whole("reps_low", 1, 1000),
        reps_high=cells.whole("reps_high", 1, 1000),
        duration_s=cells.whole("duration_s", 1, 7200),
        effort_target=cells.one_of("effort_target", EffortTarget.values, ""),
        rir_target=cells.halves("rir_target", 10),
        load_rule=cells.one_of("load_rule", LoadRule.values, ""),
        load_kg=cells.number("load_kg", 1000),
        share_of_1rm=cells.number("share_of_1rm", 1.1, 0.05),
        tempo=cells.tempo("tempo"),
        rest_s=cells.whole("rest_s", 0, 3600),
        has_warm_up_ramp=bool(cells.yes_no("has_warm_up_ramp")),
        warm_up_steps=_steps(cells),
        alternatives=alternatives[:MOST_ALTERNATIVES],
    )


def _named(cells: Cells, column: str, max_length: int) -> str:
    text = cells.prose(column, max_length)
    if not cells.cells.get(column):
        cells.note(column, "required", "This cell is empty.")
    return text


def _whole(cells: Cells, column: str, low: int, high: int, default: int | None = None) -> int:
    if not cells.cells.get(column) and default is None:
        cells.note(column, "required", "This cell is empty.")
    found = cells.whole(column, low, high)
    return found if found is not None else (default or low)


def _weeks(cells: Cells) -> tuple[int, ...]:
    parts = cells.cells.get("deload_weeks", "").split()
    if len(parts) > MOST_WEEKS or not all(
        part.isascii() and part.isdigit() and len(part) < 4 for part in parts
    ):
        cells.note("deload_weeks", "invalid", "Give weeks counted from 1, like 4 8.")
        return ()
    return tuple(int(part) for part in parts)


def _levers(cells: Cells, kind: str) -> tuple[str, ...]:
    cell = cells.cells.get("levers", "")
    if not cell:
        return tuple(DEFAULT_LEVERS[BlockKind(kind)]) if kind else ()
    levers = () if cell == NO_LEVER else tuple(cell.split())
    if any(lever not in Lever.values for lever in levers) or len(levers) > len(Lever):
        cells.note("levers", "invalid_choice", f"Give none, or some of {', '.join(Lever.values)}.")
        return ()
    return levers


def _steps(cells: Cells) -> tuple[WarmUpStep, ...]:
    parts = cells.cells.get("warm_up_steps", "").split()
    steps = [_step(part) for part in parts[: MOST_STEPS + 1]]
    found = tuple(step for step in steps if step is not None)
    if len(found) != len(parts) or len(parts) > MOST_STEPS:
        detail = (
            f"Give up to {MOST_STEPS} steps like 0.5x5/30: share of the work load, repetitions, rest in s."
        )
        cells.note("warm_up_steps", "invalid", detail)
        return ()
    return found


def _step(part: str) -> WarmUpStep | None:
    read = STEP.fullmatch(part)
    if read is None:
        return None
    step = WarmUpStep(float(read[1]), int(read[2]), int(read[3]))
    is_possible = 0.1 <= step.share_of_work_load <= 0.99 and 1 <= step.reps <= 20 and step.rest_s <= 3600
    return step if is_possible else None


def _plan(rows: Sequence[_Row]) -> PlanInFile:
    problems = [problem for row in rows for problem in row.problems]
    problems += _row_disagreements(rows)
    first = rows[0]
    by_number: dict[int, list[_Row]] = {}
    for row in rows:
        by_number.setdefault(row.version.number, []).append(row)
    if sorted(by_number) != list(range(1, len(by_number) + 1)):
        detail = "The versions of a plan are 1 and on, none left out."
        problems.append(RowProblem(first.line, "version", "left_out", detail))
    problems += _too_many(rows)
    uids = [row.prescription_uid for row in rows if row.prescription_uid is not None]
    if uids and len(set(uids)) != len(rows):
        detail = "Give every prescription of a plan an id of its own, or none of them."
        problems.append(RowProblem(first.line, "prescription", "repeated", detail))
    ordered = sorted(problems, key=lambda problem: problem.line)
    if problems:
        return PlanInFile(first.plan, first.line, (), tuple(ordered))
    versions = tuple(_version(first.name, by_number[number]) for number in sorted(by_number))
    return PlanInFile(first.plan, first.line, versions)


def _too_many(rows: Sequence[_Row]) -> Iterator[RowProblem]:
    counted = Counter((row.version.number, row.day.number, row.block.number) for row in rows)
    for row in rows:
        place = (row.version.number, row.day.number, row.block.number)
        if counted.pop(place, 0) > MOST_PRESCRIPTIONS:
            detail = f"A block has at most {MOST_PRESCRIPTIONS} prescriptions."
            yield RowProblem(row.line, "block", "too_many", detail)


def _row_disagreements(rows: Sequence[_Row]) -> Iterator[RowProblem]:
    """Rows of one plan, version, day or block that do not say the same of it."""
    said: dict[object, _Row] = {}
    for row in rows:
        version, day = row.version.number, row.day.number
        told = (
            ("plan_name", "plan", row.name),
            ("weeks", version, row.version),
            ("day", (version, day), row.day),
            ("block", (version, day, row.block.number), row.block),
        )
        for column, key, content in told:
            first = said.setdefault((column, key), row)
            before = {"plan_name": first.name, "weeks": first.version, "day": first.day, "block": first.block}
            if before[column] != content:
                detail = f"This row says something else of it than line {first.line}."
                yield RowProblem(row.line, column, "differs", detail)


def _version(name: str, rows: Sequence[_Row]) -> PlanVersionInFile:
    ordered = sorted(rows, key=lambda row: (row.day.number, row.block.number, row.position))
    days = tuple(_days(ordered))
    first = rows[0].version
    uids = tuple(row.prescription_uid for row in ordered if row.prescription_uid is not None)
    content = PlanContent(name, first.weeks, first.deload_weeks, days)
    return PlanVersionInFile(content, uids, tuple(row.line for row in ordered))


def _days(rows: Sequence[_Row]) -> Iterator[DayContent]:
    for _, of_day in groupby(rows, key=lambda row: row.day.number):
        its = list(of_day)
        day = its[0].day
        yield DayContent(day.weekday, day.name, tuple(_blocks(its)))


def _blocks(rows: Sequence[_Row]) -> Iterator[BlockContent]:
    for _, of_block in groupby(rows, key=lambda row: row.block.number):
        its = list(of_block)
        block = its[0].block
        yield BlockContent(block.kind, block.rest_s, block.levers, tuple(row.content for row in its))
