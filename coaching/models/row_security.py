"""PostgreSQL's own belt: each statement tells the server within which practice it is asked."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection, transaction
from django.db.backends.base.base import NO_DB_ALIAS
from psycopg.pq import TransactionStatus

from coaching.models.scope import current_scope

SETTING = "forbear.practice"
TELL = f"SELECT set_config('{SETTING}', %s, true)"
ASKS_FOR_ROWS = ("SELECT", "INSERT", "UPDATE", "DELETE", "WITH", "(SELECT", "DECLARE")


class TellPractice:
    """An execute wrapper. What it says holds for the transaction only, so no pool can carry it on.

    Within a transaction it speaks when the scope has changed; a statement outside of any gets one of its own.
    """

    def __init__(self) -> None:
        self.told: str | None = ""

    def __call__(
        self, execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: dict[str, Any]
    ) -> Any:
        client = context["connection"]
        server = client.connection
        if server.pgconn.transaction_status == TransactionStatus.IDLE:
            self.told = ""  # the server has forgotten it with the last transaction
        statement = str(sql).lstrip()
        if not statement.upper().startswith(ASKS_FOR_ROWS):
            result = execute(sql, params, many, context)
            if statement.startswith("ROLLBACK TO"):
                self.told = None  # it may have taken back what was told since
            return result
        wanted = current_scope().setting
        if wanted == self.told or server.pgconn.transaction_status == TransactionStatus.INERROR:
            return execute(sql, params, many, context)
        if server.autocommit:
            with client.wrap_database_errors, server.transaction():
                server.execute(TELL, [wanted])
                return execute(sql, params, many, context)
        with client.wrap_database_errors:
            server.execute(TELL, [wanted])
        self.told = wanted
        return execute(sql, params, many, context)


@contextmanager
def asked_together() -> Iterator[None]:
    """One transaction for all queries of the block, so that the practice is told once, and not for each.

    On PostgreSQL only: on SQLite a transaction would keep everybody else from writing.
    """
    if connection.vendor != "postgresql" or connection.in_atomic_block:
        yield
        return
    with transaction.atomic():
        yield


def tell_practice_on(**made: Any) -> None:
    """To be called when a connection has been made."""
    client = made["connection"]
    if client.vendor != "postgresql" or client.alias == NO_DB_ALIAS:
        return
    if not any(isinstance(wrapper, TellPractice) for wrapper in client.execute_wrappers):
        client.execute_wrappers.append(TellPractice())
