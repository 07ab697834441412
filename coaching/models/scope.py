"""Within which practice work is done: one, none, or every one of them with a reason."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TypeVar

Piece = TypeVar("Piece")


class UnscopedQueryError(RuntimeError):
    """A query on a practice's rows that no practice was named for; a fault of the code, never of a caller."""


@dataclass(frozen=True, slots=True)
class Scope:
    """`setting` is what row-level security reads of it on PostgreSQL."""

    setting: str
    practice_id: int | None = None

    def holds(self, begun: "Scope") -> bool:
        """Whether a query that was begun in `begun` may be asked in this scope."""
        return self == begun or (self == EVERYWHERE and begun.practice_id is not None)


NOWHERE = Scope("")
EVERYWHERE = Scope("*")

# What holds where no block has said anything, in a thread of its own too. Only tests set it.
_unless_said = NOWHERE
_said: ContextVar[Scope | None] = ContextVar("forbear_scope", default=None)


def current_scope() -> Scope:
    return _said.get() or _unless_said


@contextmanager
def within(scope: Scope) -> Iterator[None]:
    said = _said.set(scope)
    try:
        yield
    finally:
        _said.reset(said)


@contextmanager
def within_practice(practice_id: int) -> Iterator[None]:
    """Every query of the block is bound to this practice. Raises UnscopedQueryError within another one."""
    around = current_scope()
    if around.practice_id not in (None, practice_id):
        raise UnscopedQueryError("Work within one practice cannot go on within another.")
    with within(Scope(str(practice_id), practice_id)):
        yield


@contextmanager
def across_practices(reason: str) -> Iterator[None]:
    """Queries of the block see every practice; `reason` says why no single one can be named."""
    with within(EVERYWHERE):
        yield


@contextmanager
def outside_of_practices() -> Iterator[None]:
    """Where a request or a round begins: whatever held before, nothing of any practice can be asked."""
    with within(NOWHERE):
        yield


def pieces_within(scope: Scope, pieces: Iterable[Piece]) -> Iterator[Piece]:
    """The pieces of an answer that is still being made, each made in this scope."""
    source = iter(pieces)
    while True:
        with within(scope):
            try:
                piece = next(source)
            except StopIteration:
                return
        yield piece
