"""The page of the published checks, written from the table."""

from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.compute.published_checks import TOPICS
from tests.compute.published_checks.check import Check, NotOurs
from tests.compute.published_checks.not_ours import NOT_OURS
from tests.compute.published_checks.oracles import ORACLES, Oracle

PAGE = Path(__file__).parents[3] / "coaching" / "compute" / "PUBLISHED_CHECKS.md"

HEAD = """# Published checks of the computing core

What the functions of `coaching/compute` are held against, and who says so. Written from
`tests/compute/published_checks/`; do not edit by hand. After a change there:

    python -m tests.compute.published_checks > coaching/compute/PUBLISHED_CHECKS.md

Each row is one test of `tests/compute/test_published_checks.py`,
`test_our_value_agrees_with_the_source[<check>]`; another test of that file fails where this page and the
table differ.

Known: *seen* = the number was read in the source; *second-hand* = read where somebody else quotes it; *from
memory* = known, not read; *computed* = follows from the formula or definition named, reckoned apart from our
code; *design* = our own choice, no source. Tolerance is absolute, 0 = exactly equal.
"""

URGENCY_NOTE = """
The urgency of each symptom is a design choice that no clinician has reviewed until an operator records the
sign-off; each row of the table in `symptoms.py` names its own source.
"""


def render() -> str:
    topics = [_topic(title, checks) for title, checks in TOPICS.items()]
    parts = [HEAD.strip(), "", *topics, URGENCY_NOTE.strip(), "", _oracles(), _not_ours()]
    return "\n".join(parts).strip() + "\n"


def _topic(title: str, checks: tuple[Check, ...]) -> str:
    head = ("Check", "Quantity", "Function", "Ours", "Expected", "Tolerance", "Source", "Known")
    return f"## {title}\n\n{_table(head, [_check(check) for check in checks])}\n"


def _check(check: Check) -> tuple[str, ...]:
    return (
        check.code,
        check.quantity,
        f"`{check.subject}`",
        shown(check.compute()),
        shown(check.expected),
        f"{check.tolerance:g}",
        check.source,
        check.known,
    )


def _oracles() -> str:
    head = ("Function", "Held against", "On", "Where definitions differ", "Test in `tests/compute/`")
    rows = [_oracle(oracle) for oracle in ORACLES]
    text = (
        "Agreement to 1e-9 on generated, seeded series. The published strength series of 57 lifters\n"
        "(Littell 1996, in `fixtures/`) is run through import and night, against scipy and statsmodels, in\n"
        "`tests/journeys/test_published_series.py`."
    )
    return f"## Independent implementations\n\n{text}\n\n{_table(head, rows)}\n"


def _oracle(oracle: Oracle) -> tuple[str, ...]:
    where = f"`{oracle.module}::{oracle.test}`"
    return f"`{oracle.subject}`", oracle.package, oracle.series, oracle.difference, where


def _not_ours() -> str:
    head = ("Figure", "Quantity", "Published", "Source", "No function of ours, because")
    rows = [_figure(row) for row in NOT_OURS]
    return f"## Published figures without a function of ours\n\n{_table(head, rows)}\n"


def _figure(row: NotOurs) -> tuple[str, ...]:
    return row.code, row.quantity, row.figure, row.source, row.reason


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    return "\n".join("| " + " | ".join(row) + " |" for row in [head, ("---",) * len(head), *rows])


def shown(value: Any) -> str:
    """Nine significant digits, so that the last bits of a platform do not change the page."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if hasattr(value, "__len__"):
        return ", ".join(shown(each) for each in value)
    return f"{value:.9g}"
