"""The places where the service touches what may fail, and a fault that strikes at the n-th touch of one."""

import errno
import os
import smtplib
import socket
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any
from unittest.mock import patch

import httpcore
from django.conf import settings
from django.db import OperationalError, connection
from django.utils.module_loading import import_string

from coaching.exchange import webhooks
from tests.faults.nth.forks import kill_this_process

DEADLOCK = "DO $$ BEGIN RAISE EXCEPTION 'deadlock detected' USING ERRCODE = '40P01'; END $$"
WRITES = ("INSERT", "UPDATE", "DELETE", "WITH")


class Seam(StrEnum):
    """Each in words that go on with "before"."""

    QUERY = "a query"
    COMMIT = "a commit"
    COMMITTED = "the answer to a commit"
    SEND = "a mail is taken"
    SENT = "the answer to a mail"
    PUBLISH = "a webhook is taken"
    PUBLISHED = "the answer to a webhook"
    WRITE = "a file is written"


class Action(StrEnum):
    RAISE = "an error"
    CUT = "the line cut"
    KILL = "kill -9"
    SLEEP = "asleep for longer than a lease"


@dataclass(slots=True)
class Fault:
    """Strikes once, at the `nth` touch of `seam`; `on_meeting` is called just before."""

    seam: Seam
    action: Action
    nth: int
    on_meeting: Callable[[], None] = lambda: None
    others_work: Callable[[], None] = lambda: None
    touches: int = 0
    is_met: bool = False

    @property
    def name(self) -> str:
        return f"{self.action} before {self.seam}"

    def touch(self, seam: Seam) -> None:
        if seam is not self.seam:
            return
        self.touches += 1
        if self.touches == self.nth:
            self.is_met = True
            self.on_meeting()
            self._strike()

    def _strike(self) -> None:
        match self.action:
            case Action.KILL:
                kill_this_process()
            case Action.SLEEP:
                self.others_work()
            case Action.CUT:
                _cut_the_line()
                if self.seam is Seam.COMMITTED:
                    raise OperationalError("server closed the connection unexpectedly")
            case Action.RAISE:
                _raise_at(self.seam)


def _raise_at(seam: Seam) -> None:
    """What the real thing would raise there."""
    if seam in (Seam.QUERY, Seam.COMMIT):
        if connection.vendor == "postgresql":  # really, so that the transaction there is broken as well
            with connection.wrap_database_errors:
                connection.connection.execute(DEADLOCK)
        raise OperationalError("disk I/O error")
    raise ERRORS[seam]


ERRORS: dict[Seam, Exception] = {
    Seam.SEND: smtplib.SMTPServerDisconnected("Connection unexpectedly closed"),
    Seam.SENT: smtplib.SMTPServerDisconnected("Connection unexpectedly closed"),
    Seam.PUBLISH: httpcore.ConnectError("refused"),
    Seam.PUBLISHED: httpcore.ReadTimeout("no answer"),
    Seam.WRITE: OSError(errno.ENOSPC, "No space left on device"),
}


def _cut_the_line() -> None:
    """End the connection to PostgreSQL under the feet of its client; the next use of it will find out."""
    line = socket.socket(fileno=os.dup(connection.connection.pgconn.socket))
    line.shutdown(socket.SHUT_RDWR)
    line.close()


@contextmanager
def struck_by(fault: Fault) -> Iterator[None]:
    """Count the touches of every seam in the block."""
    connection.ensure_connection()  # or what it appends itself would be taken off in place of ours
    with _queries(fault), _commits(fault), _mails(fault), _webhooks(fault), _files(fault):
        yield


@contextmanager
def _queries(fault: Fault) -> Iterator[None]:
    def ask(
        execute: Callable[..., Any], statement: Any, params: Any, many: bool, context: dict[str, Any]
    ) -> Any:
        fault.touch(Seam.QUERY)
        is_its_own = not connection.in_atomic_block and str(statement).lstrip().startswith(WRITES)
        if is_its_own:
            fault.touch(Seam.COMMIT)
        result = execute(statement, params, many, context)
        if is_its_own:
            fault.touch(Seam.COMMITTED)
        return result

    with connection.execute_wrapper(ask):
        yield


@contextmanager
def _commits(fault: Fault) -> Iterator[None]:
    commit = connection._commit

    def commit_or_not() -> None:
        fault.touch(Seam.COMMIT)
        commit()
        fault.touch(Seam.COMMITTED)

    with patch.object(connection, "_commit", commit_or_not):
        yield


@contextmanager
def _mails(fault: Fault) -> Iterator[None]:
    backend = import_string(settings.EMAIL_BACKEND)
    with patch.object(backend, "send_messages", _around(backend.send_messages, fault, Seam.SEND, Seam.SENT)):
        yield


@contextmanager
def _webhooks(fault: Fault) -> Iterator[None]:
    with patch.object(webhooks, "post", _around(webhooks.post, fault, Seam.PUBLISH, Seam.PUBLISHED)):
        yield


@contextmanager
def _files(fault: Fault) -> Iterator[None]:
    with (
        patch.object(os, "fsync", _around(os.fsync, fault, Seam.WRITE)),
        patch.object(os, "replace", _around(os.replace, fault, Seam.WRITE)),
        patch.object(tempfile, "mkstemp", _around(tempfile.mkstemp, fault, Seam.WRITE)),
        patch.object(Path, "write_text", _around(Path.write_text, fault, Seam.WRITE)),
    ):
        yield


def _around(
    call: Callable[..., Any], fault: Fault, before: Seam, after: Seam | None = None
) -> Callable[..., Any]:
    def touch_and_call(*args: Any, **kwargs: Any) -> Any:
        fault.touch(before)
        result = call(*args, **kwargs)
        if after is not None:
            fault.touch(after)
        return result

    return touch_and_call
