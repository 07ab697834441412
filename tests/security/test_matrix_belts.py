"""The matrix between practices, with one belt standing and the others taken off.

The filters are what the code writes into each query, the scope binds queries by itself, the policies are
PostgreSQL's. Whichever of them is left, what one practice asks of another must read as in the table; what it
asks of its own is asked along, so that a service which refuses everything would not pass. The whole is
`long`.
"""

from collections.abc import Callable, Iterator

import pytest

from coaching.models import row_security, scoped
from coaching.models.scope import EVERYWHERE
from coaching.models.scoped import ScopedQuerySet
from tests.security.calls import CALLS, Call, in_home
from tests.security.people import OBJECTS
from tests.security.test_matrix import ROWS, Cell, faults, objects_of, people, whole
from tests.security.walk import without_filters

__all__ = ["people"]

Off = Callable[[pytest.MonkeyPatch], None]


def without_scope(patch: pytest.MonkeyPatch) -> None:
    """The code binds nothing and checks nothing by itself any more."""
    patch.setattr(scoped, "_bind", lambda query, practice_id: None)
    patch.setattr(scoped, "_check_practice", lambda model, practice: None)
    patch.setattr(ScopedQuerySet, "_check_scope", lambda rows: None)


def without_policies(patch: pytest.MonkeyPatch) -> None:
    """The server is told that every statement is asked across all practices."""
    patch.setattr(row_security, "current_scope", lambda: EVERYWHERE)


def off(*belts: Off) -> Off:
    def take_off(patch: pytest.MonkeyPatch) -> None:
        for belt in belts:
            belt(patch)

    return take_off


STRANGERS = ("far_coach", "owner", "far_owner", "coach", "self")
ON_ROLES = pytest.mark.roles
BELTS = [
    pytest.param(off(), id="all"),
    pytest.param(off(without_filters, without_policies), id="the scope alone"),
    pytest.param(off(without_scope, without_policies), id="the filters alone"),
    pytest.param(off(without_filters, without_scope), id="the policies alone", marks=ON_ROLES),
]


def is_between_practices(cell: Cell) -> bool:
    """Made-up ids are asked along, since what is not theirs must read as what is not there.

    Within a practice the filters stand alone: without them a row that names another client of the own coach
    as well tells a client something else.
    """
    if cell.role in ("self", "sibling") and cell.key.endswith("/assignments | plan"):
        return False
    if cell.role == "sibling" and (
        " | own client" in cell.key or CALLS.get(cell.key, Call()).path is in_home
    ):
        return False
    return cell.role.startswith("far") or cell.object in ("elsewheres", "made_up")


def sample() -> Iterator[Cell]:
    """Each row as one who is a stranger to the other practice: its ids, the own ones, and a made-up one."""
    for turn, key in enumerate(ROWS):
        role = STRANGERS[turn % len(STRANGERS)]
        if len(objects_of(key)) == 1:
            yield Cell(key, "far_owner", "coachs")
        elif role.startswith("far"):
            yield from (Cell(key, role, which) for which in (OBJECTS[turn % 2], "elsewheres", "made_up"))
        else:
            others = (Cell(key, role, which) for which in ("elsewheres", "made_up"))
            yield from filter(is_between_practices, others)


@pytest.mark.parametrize("take_off", BELTS[1:])
def test_a_sample_between_practices_reads_as_in_the_table(people, monkeypatch, take_off):
    take_off(monkeypatch)
    assert list(faults(people, (cell for cell in sample() if not cell.is_slow))) == []


@pytest.mark.long
@pytest.mark.parametrize("take_off", BELTS)
def test_everything_between_practices_reads_as_in_the_table(people, monkeypatch, take_off):
    take_off(monkeypatch)
    assert list(faults(people, filter(is_between_practices, whole(ROWS)))) == []


def test_with_all_belts_off_the_same_sample_would_tell(people, monkeypatch):
    off(without_filters, without_scope, without_policies)(monkeypatch)
    assert len(list(faults(people, sample()))) > 30
