"""Which errors of a database pass by themselves, and what they leave behind."""

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

import structlog
from django.db import DatabaseError, InterfaceError
from psycopg import Error as ServerError
from psycopg_pool import PoolTimeout

SERIALIZATION_FAILURE, DEADLOCK_DETECTED = "40001", "40P01"
# The server ends the connection (57P01, 57P02), or it broke on the way (class 08, or no code at all).
ENDED_BY_THE_SERVER = ("57P01", "57P02")
BROKEN_CONNECTION = "08"

TRIES = 3

Params = ParamSpec("Params")
Result = TypeVar("Result")


def is_rolled_back(error: BaseException) -> bool:
    """Whether the database took the whole transaction back: the same work may simply be done again."""
    return _code_of(error) in (SERIALIZATION_FAILURE, DEADLOCK_DETECTED)


def is_connection_lost(error: BaseException) -> bool:
    """Whether the connection ended meanwhile. If that was during a commit, nobody knows whether it counts."""
    cause = error.__cause__
    if not isinstance(error, DatabaseError | InterfaceError) or not isinstance(cause, ServerError):
        return False
    if isinstance(cause, PoolTimeout):  # there was none to be had, and waiting for one has taken its time
        return False
    code = cause.sqlstate
    return code is None or code in ENDED_BY_THE_SERVER or code.startswith(BROKEN_CONNECTION)


def constraint_of(error: BaseException) -> str:
    """The name of the constraint that was met, and nothing of the row; SQLite does not tell it."""
    told = getattr(getattr(error.__cause__, "diag", None), "constraint_name", None)
    return str(told or "")


def again_if_rolled_back(work: Callable[Params, Result]) -> Callable[Params, Result]:
    """`work`, which is one transaction, up to three times where the database took it back (a deadlock)."""

    @wraps(work)
    def attempt(*args: Params.args, **kwargs: Params.kwargs) -> Result:
        for _ in range(TRIES - 1):
            try:
                return work(*args, **kwargs)
            except DatabaseError as error:
                if not is_rolled_back(error):
                    raise
                structlog.get_logger("database").warning("done_again", error=type(error).__name__)
        return work(*args, **kwargs)

    return attempt


def _code_of(error: BaseException) -> str | None:
    return getattr(error.__cause__, "sqlstate", None)
