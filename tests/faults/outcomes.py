"""What became of every fault: how often it struck, what it cost, and how long it took to be well again."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path
from statistics import median

HEADINGS = ("fault", "times", "lost", "doubled", "recovered in s, median", "worst")


@dataclass(frozen=True, slots=True)
class Outcome:
    """One fault, or `times` of one kind counted together.

    `recovered_s` is None where nothing had to recover, or where nobody measured it.
    """

    fault: str
    lost: int = 0
    doubled: int = 0
    recovered_s: float | None = None
    times: int = 1


class Ledger:
    """Outcomes in the order in which they came; with `file` they outlive the process that noted them."""

    def __init__(self, file: Path | None = None) -> None:
        self._file = file
        self._noted: list[Outcome] = []

    def note(
        self,
        fault: str,
        *,
        lost: int = 0,
        doubled: int = 0,
        recovered_s: float | None = None,
        times: int = 1,
    ) -> None:
        outcome = Outcome(fault, lost, doubled, recovered_s, times)
        self._noted.append(outcome)
        if self._file is not None:
            with self._file.open("a") as file:
                file.write(json.dumps(asdict(outcome)) + "\n")

    def outcomes(self) -> list[Outcome]:
        if self._file is None or not self._file.exists():
            return list(self._noted)
        return [Outcome(**json.loads(line)) for line in self._file.read_text().splitlines()]

    def table(self) -> str:
        """One line for each fault, in the order in which they were first met; empty if nothing was noted."""
        rows = [_line_of(fault, list(those)) for fault, those in _by_fault(self.outcomes())]
        return _aligned([HEADINGS, *rows]) if rows else ""


def _by_fault(outcomes: Sequence[Outcome]) -> Iterator[tuple[str, Iterator[Outcome]]]:
    place = {fault: number for number, fault in enumerate(dict.fromkeys(each.fault for each in outcomes))}
    return groupby(sorted(outcomes, key=lambda each: place[each.fault]), key=lambda each: each.fault)


def _line_of(fault: str, outcomes: Sequence[Outcome]) -> tuple[str, ...]:
    took = [each.recovered_s for each in outcomes if each.recovered_s is not None]
    return (
        fault,
        f"{sum(each.times for each in outcomes):,}",
        f"{sum(each.lost for each in outcomes):,}",
        f"{sum(each.doubled for each in outcomes):,}",
        f"{median(took):.1f}" if took else "-",
        f"{max(took):.1f}" if took else "-",
    )


def _aligned(rows: Sequence[tuple[str, ...]]) -> str:
    """The first column to the left, numbers to the right."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if column == 0 else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    )
