"""One night of the practice under faults: a copy of its rows, real processes, and what must hold after."""

import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol

from tests.faults.outcomes import Ledger
from tests.faults.processes.devices import Devices, missing
from tests.faults.processes.mail_server import MailServer
from tests.faults.processes.service import Service
from tests.faults.processes.stores import Store, asked_patiently

NIGHT_IS_DONE_WITHIN_S = 240.0
MAIL_IS_SENT_WITHIN_S = 180.0
GOES_ON_WITHIN_S = 90.0

# Each attempt that was counted and each client scored is a step.
STEPS = (
    "SELECT coalesce(sum(attempts), 0) + count(*) FILTER (WHERE state = 'scored') FROM coaching_nightclient"
)
ALERTS = "SELECT client_id, kind, target FROM coaching_alert WHERE kind = 'pain_with_volume' ORDER BY 1, 2, 3"
# All others may come between the mail server's answer and the row that remembers it, once for each sender.
FAR_FROM_MAIL = ("kill -9 web", "kill -9 beat", "Redis")


class World(Protocol):
    clients: int
    nights: int
    tokens: list[str]
    coaches: list[str]
    alerts: list[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Strike:
    fault: str
    at_s: float
    steps: int


@dataclass
class Found:
    lost: int = 0
    doubled: int = 0
    wrong: list[str] = field(default_factory=list)


Measure = Callable[[Strike], float | None]


class Round:
    """`strike` hits; the watcher notes when the night goes on, the devices when a post is acknowledged."""

    def __init__(
        self, world: World, store: Store, service: Service, mail: MailServer, processes: Sequence[str]
    ) -> None:
        self.world, self.store, self.service, self.mail = world, store, service, mail
        self.processes = processes
        self.strikes: list[Strike] = []
        self.devices: Devices | None = None
        self._progress: list[tuple[float, int]] = []
        self._is_over = threading.Event()
        self._watcher = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> "Round":
        return self

    def __exit__(self, *raised: Any) -> None:
        self.end()

    def start(self, *, has_devices: bool = True) -> None:
        """What works on the night comes last, so that all are there when it is under way."""
        self._watcher.start()
        first, *others = self.processes
        self.service.start(first)
        if has_devices:
            self.devices = Devices(self.service.url, self.world.tokens)
            self.devices.start()
        self.service.start(*others)

    def end(self) -> None:
        self._is_over.set()
        if self._watcher.ident:
            self._watcher.join(10)
        try:
            self.service.stop()
        finally:
            self.mail.stop()

    def rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        return asked_patiently(self.store, query, *values)

    def number(self, query: str, *values: Any) -> int:
        return int(self.rows(query, *values)[0][0])

    def _watch(self) -> None:
        while not self._is_over.wait(0.03):
            self._progress.append((time.monotonic(), self.number(STEPS)))

    def steps(self) -> int:
        return self._progress[-1][1] if self._progress else 0

    def is_done(self) -> bool:
        done = "SELECT count(*) FROM coaching_night WHERE status = 'done' AND clients_total > 0"
        return self.number(done) == self.world.nights

    def wait_until_done(self) -> None:
        until = time.monotonic() + NIGHT_IS_DONE_WITHIN_S
        while not self.is_done():
            assert time.monotonic() < until, f"the night was not done:\n{self.told()}"
            time.sleep(0.1)

    def wait_until_mailed(self, within_s: float) -> None:
        """What waits behind a lease or a back-off is moved forward, as if its time had passed."""
        until = time.monotonic() + within_s
        while self.number("SELECT count(*) FROM coaching_mailrow WHERE state = 'waiting'"):
            assert time.monotonic() < until, f"mail still waits:\n{self.told()}"
            # Longer than a sender may be at work on it.
            at = datetime.now(UTC) + timedelta(seconds=20)
            self.rows(
                "UPDATE coaching_mailrow SET next_at = %s WHERE state = 'waiting' AND next_at > %s",
                at,
                at,
            )
            time.sleep(0.5)

    def strike(self, fault: str, hit: Callable[[], object]) -> None:
        self.strikes.append(Strike(fault, time.monotonic(), self.steps()))
        hit()

    def strike_while_it_runs(
        self,
        hits: Sequence[tuple[str, Callable[[], object]]],
        *,
        times: int,
        chance: random.Random,
        pause_s: tuple[float, float] = (0.2, 1.5),
    ) -> None:
        """Hits drawn at random, each once the night went on from the last one, until it is done."""
        for _ in range(times):
            self.wait_for_progress()
            time.sleep(chance.uniform(*pause_s))
            if self.is_done():
                return
            self.strike(*chance.choice(hits))

    def wait_for_progress(self) -> None:
        """Until the night has gone on from the last strike, or is done."""
        since, until = self.strikes[-1].steps if self.strikes else 0, time.monotonic() + GOES_ON_WITHIN_S
        while self.steps() <= since and not self.is_done():
            assert time.monotonic() < until, f"the night did not go on:\n{self.told()}"
            time.sleep(0.02)

    def night_recovered_in_s(self, strike: Strike) -> float | None:
        """From the strike to the next step of the night; None if it was done by then."""
        later = [at for at, steps in self._progress if at > strike.at_s and steps > strike.steps]
        return later[0] - strike.at_s if later else None

    def posts_recovered_in_s(self, strike: Strike) -> float | None:
        answered = self.devices.posted.answered_at_s if self.devices else []
        later = [at for at in answered if at > strike.at_s]
        return min(later) - strike.at_s if later else None

    def told(self) -> str:
        return "\n".join(f"{name}: {kept.told()[-3000:]}" for name, kept in self.service.kept.items())

    def settle(
        self,
        ledger: Ledger,
        *,
        recovered: Measure | None = None,
        mail_within_s: float = MAIL_IS_SENT_WITHIN_S,
    ) -> None:
        """Let it end, count what was lost and doubled, and hold all else to its rules."""
        assert self.strikes, "nothing struck this night"
        self.wait_until_done()
        if self.devices:
            self.devices.stop()
        self.wait_until_mailed(mail_within_s)
        found = self.found()
        measure = recovered or self.night_recovered_in_s
        for number, strike in enumerate(self.strikes):
            costs = {} if number else {"lost": found.lost, "doubled": found.doubled}
            ledger.note(strike.fault, recovered_s=measure(strike), **costs)
        self._note_what_was_at_stake(ledger)
        assert (found.lost, found.doubled, found.wrong) == (0, 0, []), found

    def _note_what_was_at_stake(self, ledger: Ledger) -> None:
        ledger.note("at stake: clients' nights", times=self.world.clients * self.world.nights)
        ledger.note("at stake: mails taken", times=len(self.mail.taken.copies))
        if self.devices:
            ledger.note("at stake: posts acknowledged", times=len(self.devices.posted.acknowledged))

    def found(self) -> Found:
        found = Found()
        self._look_at_the_night(found)
        self._look_at_the_mail(found)
        self._look_at_the_posts(found)
        looked = self.service.by_hand("verify", "--json")
        if looked.returncode != 0:
            found.wrong.append(f"verify: {looked.stdout[-2000:]} {looked.stderr[-2000:]}")
        return found

    def _look_at_the_night(self, found: Found) -> None:
        scores = self.rows(
            "SELECT count(*) FROM coaching_score WHERE revision = 0 GROUP BY client_id, night_on"
        )
        found.lost += self.world.clients * self.world.nights - len(scores)
        found.doubled += sum(count - 1 for (count,) in scores)
        alerts, meant = self.rows(ALERTS), set(self.world.alerts)
        found.lost += len(meant - set(alerts))
        found.doubled += len(alerts) - len(set(alerts)) + len(set(alerts) - meant)
        for state in ("failed", "todo"):
            left = self.number("SELECT count(*) FROM coaching_nightclient WHERE state = %s", state)
            if left:
                found.wrong.append(f"{left} clients are {state}")

    def _look_at_the_mail(self, found: Found) -> None:
        taken = self.mail.taken
        mornings = self.rows("SELECT recipient, state FROM coaching_mailrow WHERE kind = 'morning'")
        found.lost += len(set(self.world.coaches) - {recipient for recipient, _ in mornings})
        found.doubled += len(mornings) - len(set(mornings))
        told = {recipient.strip("<>") for recipient in taken.recipients.values()}
        found.lost += len({recipient for recipient, state in mornings if state == "sent"} - told)
        repeats = sum(copies - 1 for copies in taken.copies.values())
        cut_off = sum(not strike.fault.startswith(FAR_FROM_MAIL) for strike in self.strikes)
        if repeats > taken.ambiguous + cut_off:
            found.wrong.append(f"{repeats} repeats: {taken.ambiguous} ambiguous answers, {cut_off} strikes")

    def _look_at_the_posts(self, found: Found) -> None:
        if self.devices is None:
            return
        posted = self.devices.posted
        assert posted.acknowledged, "nothing was posted"
        found.lost += len(missing(self.service.url, posted))
        found.doubled += self.number("SELECT count(*) - count(DISTINCT uid) FROM coaching_session")
        if posted.statuses.get(500) or posted.without_retry_after:
            found.wrong.append(f"answers {posted.statuses}, {posted.without_retry_after} without Retry-After")
