"""Contenders measured in turn, round by round, so that a machine that slows down slows all of them."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import median
from typing import Any

Figures = Mapping[str, float]  # by name with the unit in it, such as took_s or peak_mb


@dataclass(frozen=True, slots=True)
class Contender:
    """One way of doing the work; `run` does all of it once and gives what it took."""

    name: str
    run: Callable[[], Figures]


@dataclass(frozen=True, slots=True)
class Goal:
    """How one figure of a contender is to stand to a figure of another one in the same round.

    Without `limit` the ratio is told and nothing is asked of it.
    """

    what: str
    of: str
    against: str
    figure: str
    limit: float | None = None
    is_at_most: bool = True


@dataclass(frozen=True, slots=True)
class Spread:
    lowest: float
    median: float
    highest: float

    @classmethod
    def of(cls, values: Sequence[float]) -> "Spread":
        return cls(min(values), median(values), max(values))


@dataclass(frozen=True, slots=True)
class Ratio:
    """A goal and what came of it: the median of the rounds' ratios."""

    goal: Goal
    spread: Spread

    @property
    def is_met(self) -> bool | None:
        limit = self.goal.limit
        if limit is None:
            return None
        return self.spread.median <= limit if self.goal.is_at_most else self.spread.median >= limit


@dataclass(frozen=True, slots=True)
class TableSize:
    """What one table takes on the disk, and how long a vacuum of it takes."""

    table: str
    rows: int
    table_mb: float
    indexes_mb: float
    vacuum_s: float


@dataclass(frozen=True, slots=True)
class Measured:
    """What one suite came to on one database."""

    suite: str
    database: str
    sizes: Mapping[str, int]
    rounds: int
    spreads: Mapping[tuple[str, str], Spread]
    ratios: tuple[Ratio, ...]
    tables: tuple[TableSize, ...] = ()


def measure(
    *,
    suite: str,
    database: str,
    sizes: Mapping[str, int],
    contenders: Sequence[Contender],
    goals: Iterable[Goal],
    rounds: int,
    tell: Callable[[str], object],
) -> Measured:
    """Run every contender once a round, each round beginning with another one."""
    found: dict[tuple[str, str], list[float]] = {}
    for number in range(rounds):
        start = number % len(contenders)
        for contender in [*contenders[start:], *contenders[:start]]:
            tell(f"{suite}, round {number + 1} of {rounds}: {contender.name}")
            for figure, value in contender.run().items():
                found.setdefault((contender.name, figure), []).append(value)
    return measured_from(found, suite=suite, database=database, sizes=sizes, goals=goals)


def measured_from(
    found: Mapping[tuple[str, str], Sequence[float]],
    *,
    suite: str,
    database: str,
    sizes: Mapping[str, int],
    goals: Iterable[Goal],
) -> Measured:
    """What the figures of each round come to, by contender and figure."""
    ratios = tuple(Ratio(goal, Spread.of(_ratios(found, goal))) for goal in goals)
    spreads = {key: Spread.of(values) for key, values in found.items()}
    rounds = max(map(len, found.values()))
    return Measured(suite, database, sizes, rounds, spreads, ratios)


def _ratios(found: Mapping[tuple[str, str], Sequence[float]], goal: Goal) -> list[float]:
    ours, theirs = found[goal.of, goal.figure], found[goal.against, goal.figure]
    return [one / other for one, other in zip(ours, theirs, strict=True)]


def as_plain(measured: Measured) -> dict[str, Any]:
    """As JSON keeps it."""
    return {
        "suite": measured.suite,
        "database": measured.database,
        "sizes": dict(measured.sizes),
        "rounds": measured.rounds,
        "figures": [
            {"of": name, "figure": figure} | asdict(each) for (name, figure), each in measured.spreads.items()
        ],
        "ratios": [
            asdict(each.goal) | asdict(each.spread) | {"is_met": each.is_met} for each in measured.ratios
        ],
        "tables": [asdict(each) for each in measured.tables],
    }


def as_lines(measured: Measured) -> Iterator[str]:
    sizes = ", ".join(f"{value:,} {name.replace('_', ' ')}" for name, value in measured.sizes.items())
    rounds = f"median of {measured.rounds} rounds (lowest to highest)"
    yield f"{measured.suite} on {measured.database}: {sizes}; {rounds}"
    for (name, figure), spread in measured.spreads.items():
        yield f"  {name}, {figure}: {_told(spread)}"
    for ratio in measured.ratios:
        yield f"  {ratio.goal.what}, ratio: {_told(ratio.spread)}{_verdict(ratio)}"
    for each in measured.tables:
        yield (
            f"  {each.table}: {each.rows:,} rows, {_number(each.table_mb)} MB, "
            f"indexes {_number(each.indexes_mb)} MB, vacuum {_number(each.vacuum_s)} s"
        )


def _told(spread: Spread) -> str:
    return f"{_number(spread.median)} ({_number(spread.lowest)} to {_number(spread.highest)})"


def _verdict(ratio: Ratio) -> str:
    goal = ratio.goal
    if goal.limit is None:
        return ""
    word = "at most" if goal.is_at_most else "at least"
    return f"; goal {word} {goal.limit:g}: {'met' if ratio.is_met else 'not met'}"


def _number(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
