"""The engine that settings name: transactions of one process begin in the order in which they were asked for.

SQLite lets one connection write and tells the others to look again later. Whoever looks at the right moment
is next, so that under a long run of writes somebody may never be; between processes that is still so.
"""

from typing import Any

from django.db.backends.sqlite3 import base
from django.db.utils import OperationalError

from coaching.sqlite_in_turn.turns import Turns

_turns_of_files: dict[str, Turns] = {}


class DatabaseWrapper(base.DatabaseWrapper):
    """Holds the turn from the beginning of a transaction to its end.

    Django's own methods of these names are there, but its stubs do not know them.
    """

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._holds: Turns | None = None

    def _start_transaction_under_autocommit(self) -> None:
        turns = _turns_of_files.setdefault(str(self.settings_dict["NAME"]), Turns())
        if not turns.take(self.settings_dict["OPTIONS"]["timeout"]):
            raise OperationalError("database is locked")
        self._holds = turns
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except BaseException:
            self._give_back()
            raise

    def _commit(self) -> None:
        super()._commit()  # type: ignore[misc]
        self._give_back()

    def _rollback(self) -> None:
        try:
            super()._rollback()  # type: ignore[misc]
        finally:
            self._give_back()

    def _close(self) -> None:
        try:
            super()._close()  # type: ignore[misc]
        finally:
            self._give_back()

    def _give_back(self) -> None:
        turns, self._holds = self._holds, None
        if turns is not None:
            turns.give_back()
