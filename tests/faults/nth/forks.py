"""Work done in a process of its own that may be killed, and what it told before it ended."""

import gc
import json
import os
import select
import signal
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NoReturn

ENDS_WITHIN_S = 120.0
Tell = Callable[[Any], None]


@dataclass(frozen=True, slots=True)
class Ended:
    told: tuple[Any, ...]
    was_killed: bool


def in_child(work: Callable[[Tell], None], *, ends_within_s: float = ENDS_WITHIN_S) -> Ended:
    """Fork, do `work` there, wait for its end. Raises AssertionError with its traceback if it raised.

    Whoever calls has no connection open that the child could take for its own.
    """
    reading, writing = os.pipe()
    sys.stdout.flush()
    sys.stderr.flush()
    pid = os.fork()
    if pid == 0:
        os.close(reading)
        _work_and_exit(work, writing)
    os.close(writing)
    try:
        text = _read_to_the_end(reading, time.monotonic() + ends_within_s)
    except BaseException:
        os.kill(pid, signal.SIGKILL)
        raise
    finally:
        os.close(reading)
        _, status = os.waitpid(pid, 0)
    told = [json.loads(line) for line in text.splitlines()]
    if told and isinstance(told[-1], dict) and "traceback" in told[-1]:
        raise AssertionError(told[-1]["traceback"])
    return Ended(tuple(told), os.WIFSIGNALED(status))


def kill_this_process() -> NoReturn:
    """What nothing in the process can hold back or clear up after."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("nobody comes here")


def _work_and_exit(work: Callable[[Tell], None], writing: int) -> NoReturn:
    """Never returns: the child must not do what the rest of the parent's test would do."""

    def tell(what: Any) -> None:
        os.write(writing, (json.dumps(what) + "\n").encode())

    gc.disable()  # it would copy the parent's whole memory for a process of a second
    try:
        work(tell)
    except BaseException:
        tell({"traceback": traceback.format_exc()})
    finally:
        os._exit(0)


def _read_to_the_end(descriptor: int, until: float) -> str:
    parts = []
    while True:
        ready, _, _ = select.select([descriptor], [], [], max(until - time.monotonic(), 0))
        if not ready:
            raise AssertionError("The child did not end in time.")
        part = os.read(descriptor, 65536)
        if not part:
            return b"".join(parts).decode()
        parts.append(part)


class Standby:
    """A process that waits to do its work while this one stands still in the middle of its own."""

    def __init__(self, work: Callable[[int], None]) -> None:
        go_read, self._go = os.pipe()
        self._done, done_write = os.pipe()
        self._pid = os.fork()
        if self._pid == 0:
            os.close(self._go)
            os.close(self._done)
            try:
                if asked := os.read(go_read, 20):
                    work(int(asked))
            finally:
                os._exit(0)
        os.close(go_read)
        os.close(done_write)

    def work_now(self, what: int) -> None:
        """Let it work, and wait until it has ended; what it meets there is its own affair."""
        os.write(self._go, str(what).encode())
        _read_to_the_end(self._done, time.monotonic() + ENDS_WITHIN_S)

    def dismiss(self) -> None:
        os.close(self._go)
        os.close(self._done)
        os.waitpid(self._pid, 0)
