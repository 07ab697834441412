"""The loop of SQLite's anomaly tests: fail the first touch of a seam, the second, the third, to the last."""

import itertools
import logging
import os
import shutil
from base64 import b64decode
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zlib import crc32

from django.conf import settings
from django.db import connections

from coaching.emails import morning
from coaching.exchange import webhooks
from coaching.installation import FILE_NAME
from tests.faults.nth.databases import Copies
from tests.faults.nth.far_side import BOOK, take_post
from tests.faults.nth.forks import Standby, Tell, in_child
from tests.faults.nth.left import (
    Rows,
    complaints,
    differences_from_raw_rows,
    handed_over_again,
    lost_and_doubled,
    rows_left,
)
from tests.faults.nth.seams import Action, Fault, Seam, struck_by
from tests.faults.outcomes import Ledger

OTHERS_WAIT_FOR_A_LOCK_S = 0.2
ONE_DOT = b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNk+A8AAQUBAScY42YAAAAASUVORK5CYII="
)
SEED = int(os.environ.get("FORBEAR_FAULT_SEED", "1"))  # another one samples other places
EACH = int(os.environ.get("FORBEAR_FAULT_EACH", "1"))  # of the places only each so-manieth, for a quick look
LOOP_ENDS_WITHIN_S = 3600.0
POSTBOX = "tests.faults.nth.far_side.Postbox"
DONE = "done"  # told once `act` has come to its end, whatever it met
Told = list[Any]


@dataclass(frozen=True, slots=True)
class Sweep:
    """One action at every n of a seam, or at each `step`-th from a first one that the seed decides."""

    seam: Seam
    action: Action
    step: int = 1

    def places(self) -> Iterator[int]:
        step = self.step * EACH
        return itertools.count(1 + crc32(f"{SEED} {self.seam} {self.action}".encode()) % step, step)


@dataclass(frozen=True, slots=True)
class Story:
    """What is done while the fault strikes, and what brings it to its end afterwards.

    `recover` is given what `act` told, and answers after how many seconds of the story's own clock nothing
    was left to do; None if never. `others` is what somebody else does while this process sleeps; it is given
    what `position` says. What must not be told, each begins with "complaint".
    """

    name: str
    ends_at: datetime
    act: Callable[[Tell], None]
    recover: Callable[[Told, Tell], float | None]
    others: Callable[[int], None] = lambda position: None
    position: Callable[[], int] = lambda: 0
    email_backend: str = POSTBOX


@dataclass(frozen=True, slots=True)
class Struck:
    """What came of one fault at the n-th touch of its seam; `again` counts mails and webhooks sent twice."""

    fault: str
    nth: int
    is_met: bool
    complaints: tuple[str, ...]
    lost: tuple[str, ...]
    doubled: tuple[str, ...]
    again: int
    recovered_s: float | None

    @property
    def is_well(self) -> bool:
        return not (self.complaints or self.lost or self.doubled) and self.recovered_s is not None

    def __str__(self) -> str:
        wrong = [*self.complaints, *(f"lost {row}" for row in self.lost)]
        wrong += [f"doubled {row}" for row in self.doubled]
        wrong += [] if self.recovered_s is not None else ["never done"]
        return f"{self.fault}, n = {self.nth}: " + "; ".join(each[:300] for each in wrong[:6])


class FaultLoop:
    """Runs stories on one database as it was first, each run in processes of its own."""

    def __init__(self, copies: Copies, database: str, folder: Path) -> None:
        self._copies = copies
        self.database = database
        self._folder = folder

    def fail_each_nth(self, story: Story, sweeps: Sequence[Sweep]) -> list[Struck]:
        """For each sweep one run for each n, until one does not meet the fault any more; it is the last.

        All in a child that has seen the story once, so that each run finds everything loaded.
        """

        def loop(tell: Tell) -> None:
            expected = self._undisturbed(story)
            for sweep in sweeps:
                for nth in sweep.places():
                    struck = self._strike(story, Fault(sweep.seam, sweep.action, nth), expected)
                    tell(asdict(struck))
                    if not struck.is_met:
                        break

        self._copies.disconnect()  # or the child would go on with a connection to the suite's own database
        return [_struck(each) for each in in_child(loop, ends_within_s=LOOP_ENDS_WITHIN_S).told]

    def _undisturbed(self, story: Story) -> Rows:
        """What the story leaves if nothing fails; it must then be done at once."""
        with self._place() as (database, var):
            self._enter(story, database, var)
            told: Told = []
            story.act(told.append)
            told.append(DONE)
            assert story.recover(told, told.append) == 0, "not done at once, although nothing failed"
            assert _complaints_in(told) + complaints(story.ends_at) == []
            assert differences_from_raw_rows(story.ends_at) == []
            assert handed_over_again() == 0
            expected = rows_left()
            self._copies.disconnect()
            return expected

    def _strike(self, story: Story, fault: Fault, expected: Rows) -> Struck:
        with self._place() as (database, var):

            def others(position: int) -> None:
                self._copies.wait_for_locks(OTHERS_WAIT_FOR_A_LOCK_S)
                story.others(position)

            def act(tell: Tell) -> None:
                self._enter(story, database, var)
                told: Told = []

                def note(what: Any) -> None:
                    told.append(what)
                    tell(what)

                self._act_under(story, fault, note, others)
                tell(self._end(story, fault, told, expected))

            def go_on(tell: Tell) -> None:
                self._enter(story, database, var)
                tell(self._end(story, fault, list(ended.told), expected))

            ended = in_child(act)
            return _struck((in_child(go_on) if ended.was_killed else ended).told[-1])

    def _act_under(self, story: Story, fault: Fault, note: Tell, others: Callable[[int], None]) -> None:
        standby = None
        if fault.action is Action.SLEEP:  # before any connection, which two processes must not share
            standby = Standby(others)
            fault.others_work = lambda: standby.work_now(story.position())
        fault.on_meeting = lambda: note("met")
        try:
            with struck_by(fault):
                story.act(note)
            note(DONE)
        except Exception as error:
            note(f"raised {type(error).__name__}")
        finally:
            connections.close_all()
            if standby is not None:
                standby.dismiss()

    @staticmethod
    def _end(story: Story, fault: Fault, told: Told, expected: Rows) -> dict[str, Any]:
        """Bring the story to its end, and look what is left of it."""
        said: Told = []
        recovered_s = story.recover(told, said.append)
        lost, doubled = lost_and_doubled(rows_left(), expected)
        return {
            "fault": f"{story.name}: {fault.name}",
            "nth": fault.nth,
            "is_met": "met" in told,
            "complaints": _complaints_in(told) + _complaints_in(said) + complaints(story.ends_at),
            "lost": lost,
            "doubled": doubled,
            "again": handed_over_again(),
            "recovered_s": recovered_s,
        }

    @contextmanager
    def _place(self) -> Iterator[tuple[str, Path]]:
        with TemporaryDirectory(dir=self._folder) as var:
            self._copies.put_back(self.database)
            for left in (self._folder / FILE_NAME, self._folder / BOOK):  # what goes with the database
                if left.exists():
                    shutil.copy(left, var)
            yield self.database, Path(var)

    def _enter(self, story: Story, database: str, var: Path) -> None:
        enter(self._copies, database, var)
        settings.EMAIL_BACKEND = story.email_backend


def enter(copies: Copies, database: str, var: Path) -> None:
    """Make this process, a child, one of the service on `database`, with a quiet log."""
    copies.connect(database)
    settings.VAR_DIR, settings.OUTBOX_DIR = var, var / "outbox"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.EMAIL_BACKEND = POSTBOX
    webhooks.post = take_post
    morning.draw_site = lambda history, *, format: ONE_DOT  # it is pure and slow, and touches no seam
    logging.disable(logging.CRITICAL)


def _complaints_in(told: Told) -> list[str]:
    return [each for each in told if isinstance(each, str) and each.startswith("complaint")]


def _struck(fields: dict[str, Any]) -> Struck:
    tuples = {name: tuple(value) for name, value in fields.items() if isinstance(value, list)}
    return Struck(**fields | tuples)


def check_each(struck: Sequence[Struck], sweeps: Sequence[Sweep], ledger: Ledger) -> None:
    """Every run left what an undisturbed one leaves; a mail or a webhook came a second time at most once.

    Twice is who died, or was not answered, between the hand-over and the note of it.
    """
    for each in struck:
        if each.is_met:
            doubled = len(each.doubled) + each.again
            ledger.note(each.fault, lost=len(each.lost), doubled=doubled, recovered_s=each.recovered_s)
    wrong = [str(each) for each in struck if not each.is_well]
    assert not wrong, "\n".join(wrong)
    assert {each.again for each in struck} <= {0, 1}
    met = {each.fault for each in struck if each.is_met}
    assert len(met) == len(sweeps) or EACH > 1, f"faults met: {sorted(met)}"
