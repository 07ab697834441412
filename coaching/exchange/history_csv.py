"""Histories to be replayed, as CSV: pain and joint repetitions of sites, or the sets of lifts."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from coaching.exchange.cells import Cells, plain_cell
from coaching.exchange.table import check_columns, records, text_of
from coaching.models import MIDLINE_JOINTS, Joint, SetSide, SiteSide, TrainingStatus
from coaching.operations.import_rows import RowProblem

Floats = NDArray[np.float64]
Series = tuple[str, str, str]
Row = TypeVar("Row")

PAIN_COLUMNS = ("client", "joint", "side", "day", "pain", "joint_reps")
LIFT_COLUMNS = ("client", "exercise", "side", "day", "load_kg", "reps", "rir", "training_status")
JOINTS = tuple(joint for joint in Joint.values if joint != Joint.OTHER)
MOST_JOINT_REPS = 100_000
MOST_LOAD_KG = 2000


@dataclass(frozen=True, slots=True)
class PainHistory:
    """Daily series of each site over all days of the file; columns are consecutive days from `first_on`."""

    sites: tuple[Series, ...]
    first_on: date
    pain: Floats
    joint_reps: Floats


@dataclass(frozen=True, slots=True)
class LiftRow:
    """One work set of a lift; `rir` is nan where it was not told."""

    lift: Series
    day_on: date
    load_kg: float
    reps: int
    rir: float
    training_status: str


@dataclass(frozen=True, slots=True)
class _PainRow:
    site: Series
    day_on: date
    pain: int | None
    joint_reps: float


def read_pain_history(path: Path) -> tuple[PainHistory | None, tuple[RowProblem, ...]]:
    """The history of a file, or every problem of its rows; a site's rows stand in the order of their days.

    Raises InvalidError for a file that is no such table, OSError for one that cannot be opened.
    """
    rows, problems = _read(path, PAIN_COLUMNS, _pain_row, _Remembered())
    problems = (*problems, *_out_of_order(rows, lambda row: (row.site, row.day_on), is_once_a_day=True))
    if problems or not rows:
        return None, tuple(sorted(problems, key=lambda problem: problem.line))
    return _pain_history([row for _, row in rows]), ()


def read_lift_history(path: Path) -> tuple[tuple[LiftRow, ...], tuple[RowProblem, ...]]:
    """The sets of a file, or every problem of its rows; a lift's rows stand in the order of their days.

    Raises InvalidError for a file that is no such table, OSError for one that cannot be opened.
    """
    rows, problems = _read(path, LIFT_COLUMNS, _lift_row)
    problems = (*problems, *_out_of_order(rows, lambda row: (row.lift, row.day_on), is_once_a_day=False))
    if problems:
        return (), tuple(sorted(problems, key=lambda problem: problem.line))
    return tuple(row for _, row in rows), ()


class _Remembered:
    """Cells that were read well before: a history of pain has the same few of them many thousand times.

    A row of such cells alone is as good as those that they come from; a site is remembered whole, since its
    joint and its side have to fit.
    """

    def __init__(self) -> None:
        self._sites: dict[tuple[str, ...], Series] = {}
        self._days: dict[str, date] = {}
        self._pains: dict[str, int | None] = {}
        self._joint_reps: dict[str, float] = {}

    def row(self, cells: Sequence[str]) -> _PainRow | None:
        """The row of these cells, in the order of PAIN_COLUMNS; None if one of them is new."""
        *site, day, pain, joint_reps = cells
        try:
            return _PainRow(
                self._sites[tuple(site)], self._days[day], self._pains[pain], self._joint_reps[joint_reps]
            )
        except KeyError:
            return None

    def keep(self, cells: Sequence[str], row: _PainRow) -> None:
        *site, day, pain, joint_reps = cells
        self._sites[tuple(site)], self._days[day] = row.site, row.day_on
        self._pains[pain], self._joint_reps[joint_reps] = row.pain, row.joint_reps


def _read(
    path: Path, columns: Sequence[str], read: Callable[[Cells], Row], remembered: Any = None
) -> tuple[list[tuple[int, Row]], tuple[RowProblem, ...]]:
    """Each good row with its line, and the problems of the others."""
    lines = records(text_of(path), keeps_blank=True)
    line, names = next(lines, (1, []))
    found_columns = [name.strip() for name in names]
    check_columns(line, found_columns, columns, columns)
    rows: list[tuple[int, Row]] = []
    problems: list[RowProblem] = []
    places = [found_columns.index(name) for name in columns]
    for line, cells in lines:
        known = [cells[place] for place in places] if remembered and len(cells) == len(found_columns) else []
        if known and (content := remembered.row(known)):
            rows.append((line, content))
            continue
        row = Cells(line, dict(zip(found_columns, map(plain_cell, cells), strict=False)))
        if len(cells) != len(found_columns):
            said = "is blank" if not any(cells) else f"has {len(cells)} cells, not {len(found_columns)}"
            row.note("", "cells", f"The line {said}.")
        else:
            content = read(row)
            if not row.problems:
                rows.append((line, content))
                if known:
                    remembered.keep(known, content)
        problems.extend(row.problems)
    return rows, tuple(problems)


def _pain_row(cells: Cells) -> _PainRow:
    client = cells.text("client")
    joint = cells.one_of("joint", JOINTS, "")
    side = cells.one_of("side", SiteSide.values, "")
    day_on = cells.day("day")
    pain = cells.whole("pain", 0, 10)
    joint_reps = cells.number("joint_reps", MOST_JOINT_REPS)
    if joint and side and (joint in MIDLINE_JOINTS) != (side == SiteSide.MIDLINE):
        cells.note("side", "impossible_site", "The spine is midline; every other joint is left or right.")
    return _PainRow((client, joint, side), day_on or date.min, pain, joint_reps or 0.0)


def _lift_row(cells: Cells) -> LiftRow:
    lift = (cells.text("client"), cells.text("exercise"), cells.one_of("side", SetSide.values, ""))
    day_on = cells.day("day")
    load_kg = cells.number("load_kg", MOST_LOAD_KG)
    reps = cells.whole("reps", 0, 1000)
    if reps is None and not cells.problems:
        cells.note("reps", "required", "This cell is empty.")
    rir = cells.halves("rir", 20)
    status = cells.one_of("training_status", TrainingStatus.values, "")
    return LiftRow(
        lift, day_on or date.min, load_kg or 0.0, reps or 0, float("nan") if rir is None else rir, status
    )


def _out_of_order(
    rows: Sequence[tuple[int, Row]], key: Callable[[Row], tuple[Series, date]], *, is_once_a_day: bool
) -> Iterator[RowProblem]:
    """Rows whose day stands before, or where only one is allowed with, the day before it in their series."""
    newest: dict[Series, date] = {}
    for line, row in rows:
        series, day_on = key(row)
        before = newest.get(series)
        if before is not None and is_once_a_day and day_on == before:
            yield RowProblem(line, "day", "duplicate", f"{day_on} stands twice for this series.")
        elif before is not None and day_on < before:
            yield RowProblem(line, "day", "unsorted", f"{day_on} stands after {before} of the same series.")
        newest[series] = max(day_on, before or day_on)


def _pain_history(rows: Sequence[_PainRow]) -> PainHistory:
    sites = tuple(dict.fromkeys(row.site for row in rows))
    index = {site: position for position, site in enumerate(sites)}
    first_on, last_on = min(row.day_on for row in rows), max(row.day_on for row in rows)
    shape = (len(sites), (last_on - first_on).days + 1)
    pain, joint_reps = np.full(shape, np.nan), np.zeros(shape)
    for row in rows:
        cell = index[row.site], (row.day_on - first_on).days
        joint_reps[cell] = row.joint_reps
        if row.pain is not None:
            pain[cell] = row.pain
    return PainHistory(sites, first_on, pain, joint_reps)
