"""What was answered, by operation and by who asked, and the tables that tell it."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

# Answers that are given only once the row in question was found, or the work was done.
REACHED = {409, 410, 412}


def is_reached(status: int) -> bool:
    return 200 <= status < 400 or status in REACHED


def share(statuses: Counter[int], wanted: Iterable[int]) -> float:
    return sum(statuses[status] for status in wanted) / max(statuses.total(), 1)


@dataclass
class Tally:
    by_role: defaultdict[str, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    by_operation: defaultdict[str, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    reached_by: defaultdict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    undocumented: Counter[str] = field(default_factory=Counter)
    faults: dict[str, str] = field(default_factory=dict)

    def count(self, role: str, operation: str, status: int) -> None:
        self.by_role[role][status] += 1
        self.by_operation[operation][status] += 1
        if 200 <= status < 400:
            self.reached_by[operation].add(role)

    @property
    def cases(self) -> int:
        return sum(statuses.total() for statuses in self.by_role.values())

    def done_by(self, role: str) -> float:
        """The share of the role's cases that were done or shown."""
        return share(self.by_role[role], [status for status in self.by_role[role] if status < 400])


def table_of_roles(tally: Tally) -> str:
    lines = [f"{'role':<10} cases   2xx   304   4xx  5xx undocumented reached  of the 4xx"]
    for role, statuses in tally.by_role.items():
        kinds: Counter[int] = Counter()
        for status, count in statuses.items():
            kinds[status // 100] += count
        total = statuses.total()
        refused = [status for status in sorted(statuses) if 400 <= status < 500]
        told = " ".join(f"{status}:{statuses[status] / total:.0%}" for status in refused)
        reached = share(statuses, filter(is_reached, statuses))
        lines.append(
            f"{role:<10} {total:>5} {kinds[2] / total:>5.0%} {kinds[3] / total:>5.0%}"
            f" {kinds[4] / total:>5.0%} {kinds[5]:>4} {tally.undocumented[role]:>12} {reached:>7.0%}  {told}"
        )
    return "\n".join(lines)


def table_of_operations(tally: Tally) -> str:
    lines = [f"{'operation':<92} {'cases':>5} {'2xx':>5}  answers"]
    for label, statuses in sorted(tally.by_operation.items()):
        answers = " ".join(f"{status}:{n}" for status, n in sorted(statuses.items()))
        done = share(statuses, [status for status in statuses if status < 300])
        lines.append(f"{label:<92} {statuses.total():>5} {done:>5.0%}  {answers}")
    return "\n".join([*lines, f"{len(tally.by_operation)} operations, {tally.cases} cases"])
