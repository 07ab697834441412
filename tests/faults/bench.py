"""One night of the practice under faults: a copy of its database, real processes, what must hold after."""

import json
import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg

from tests.faults.devices import Devices, missing
from tests.faults.mail_server import MailServer
from tests.faults.outcomes import Ledger
from tests.faults.servers import BASE, OWNER, SERVICE, OwnPostgresql, OwnRedis
from tests.faults.service import Service, run_python

NIGHT_IS_DONE_WITHIN_S = 150.0
MAIL_IS_SENT_WITHIN_S = 150.0

# Each attempt that was counted and each client scored is a step.
STEPS = (
    "SELECT coalesce(sum(attempts), 0) + count(*) FILTER (WHERE state = 'scored') FROM coaching_nightclient"
)
ALERTS = "SELECT client_id, kind, target FROM coaching_alert WHERE kind = 'pain_with_volume' ORDER BY 1, 2, 3"


@dataclass
class Bench:
    """The servers and the practice that all rounds begin from."""

    folder: Path
    postgresql: OwnPostgresql
    redis: OwnRedis
    world: dict[str, Any]
    alerts: list[tuple[Any, ...]]
    rounds: int = 0

    def round(self, *, mail: MailServer | None = None) -> "Round":
        self.rounds += 1
        name = f"round_{self.rounds}"
        self.postgresql.copy(BASE, name)
        return Round(self, name, mail or MailServer())


def make_bench(folder: Path, *, clients: int, devices: int) -> Bench:
    """Servers, database, practice, and the alerts of a night that nothing disturbs."""
    folder.chmod(0o755)  # PostgreSQL's own user must come through
    postgresql, redis = OwnPostgresql(folder / "postgresql"), OwnRedis(_made(folder / "redis"))
    postgresql.start()
    redis.start()
    postgresql.make_roles()
    env = Service(
        folder / "making",
        database=urls(postgresql, BASE),
        redis_url=redis.url,
        email_url="smtp://127.0.0.1:9",
    ).env
    for words in (["migrate", "--no-input"], ["grant_service_role"]):
        _succeeded(run_python("manage.py", *words, env=env))
    made = _succeeded(
        run_python("-m", "tests.faults.world", "--clients", str(clients), "--devices", str(devices), env=env)
    )
    bench = Bench(folder, postgresql, redis, json.loads(made.splitlines()[-1]), [])
    bench.alerts = _undisturbed(bench)
    return bench


def urls(postgresql: OwnPostgresql, database: str) -> dict[str, str]:
    return {
        "DATABASE_URL": postgresql.url(SERVICE, database),
        "MIGRATION_DATABASE_URL": postgresql.url(OWNER, database),
    }


def _made(folder: Path) -> Path:
    folder.mkdir(parents=True)
    return folder


def _succeeded(ended: Any) -> str:
    assert ended.returncode == 0, ended.stderr[-4000:]
    return str(ended.stdout)


def _undisturbed(bench: Bench) -> list[tuple[Any, ...]]:
    calm = bench.round()
    try:
        calm.service.start("worker", "beat")
        calm.wait_until_done()
        alerts = calm.rows(ALERTS)
        assert alerts, "the practice raises no alert: nothing could be lost"
        return alerts
    finally:
        calm.end()


@dataclass
class Strike:
    fault: str
    at_s: float
    steps: int


@dataclass
class Round:
    """`strike` hits; the watcher notes when the night goes on, the devices when a post is acknowledged."""

    bench: Bench
    database: str
    mail: MailServer
    strikes: list[Strike] = field(default_factory=list)
    devices: Devices | None = None

    def __post_init__(self) -> None:
        self.service = Service(
            self.bench.folder / self.database,
            database=urls(self.bench.postgresql, self.database),
            redis_url=self.bench.redis.url,
            email_url=self.mail.url,
        )
        self._progress: list[tuple[float, int]] = []
        self._is_over = threading.Event()
        self._watcher = threading.Thread(target=self._watch, daemon=True)
        self._watcher.start()

    def start(self, *, has_devices: bool = True) -> None:
        self.service.start("worker", "beat", "web")
        if has_devices:
            self.devices = Devices(self.service.url, self.bench.world["tokens"])
            self.devices.start()

    def end(self) -> None:
        self._is_over.set()
        self._watcher.join(10)
        self.service.stop()
        self.mail.stop()

    def rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        """Asked again while the server is away; that is what some faults are."""
        until = time.monotonic() + 60
        while True:
            try:
                with self.bench.postgresql.connect(self.database) as server:
                    return list(server.execute(query, values).fetchall())
            except psycopg.OperationalError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.1)

    def number(self, query: str, *values: Any) -> int:
        return int(self.rows(query, *values)[0][0])

    def _watch(self) -> None:
        while not self._is_over.wait(0.05):
            try:
                with self.bench.postgresql.connect(self.database) as server:
                    while not self._is_over.wait(0.02):
                        (steps,) = server.execute(STEPS).fetchone() or (0,)
                        self._progress.append((time.monotonic(), int(steps)))
            except psycopg.Error:
                continue

    def steps(self) -> int:
        return self._progress[-1][1] if self._progress else 0

    def is_done(self) -> bool:
        return self.number("SELECT count(*) FROM coaching_night WHERE status = 'done'") > 0

    def wait_until_done(self) -> None:
        until = time.monotonic() + NIGHT_IS_DONE_WITHIN_S
        while not self.is_done():
            assert time.monotonic() < until, self.told()
            time.sleep(0.1)

    def wait_until_mailed(self) -> None:
        """What waits behind a lease or a back-off is moved forward, as if its time had passed."""
        until = time.monotonic() + MAIL_IS_SENT_WITHIN_S
        while self.number("SELECT count(*) FROM coaching_mailrow WHERE state = 'waiting'"):
            assert time.monotonic() < until, self.told()
            self.rows(
                "UPDATE coaching_mailrow SET next_at = now() "
                "WHERE state = 'waiting' AND next_at > now() + interval '20 seconds' RETURNING id"
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

    def wait_for_progress(self, within_s: float = 90.0) -> None:
        """Until the night has gone on from the last strike, or is done."""
        since, until = self.strikes[-1].steps if self.strikes else 0, time.monotonic() + within_s
        while self.steps() <= since and not self.is_done():
            assert time.monotonic() < until, f"the night did not go on within {within_s} s:\n{self.told()}"
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

    def settle(self, ledger: Ledger, *, recovered: Callable[[Strike], float | None] | None = None) -> None:
        """Let it end, count what was lost and doubled, and hold all else to its rules."""
        self.wait_until_done()
        if self.devices:
            self.devices.stop()
        self.wait_until_mailed()
        found = self.found()
        measure = recovered or self.night_recovered_in_s
        for strike in self.strikes:
            ledger.note(strike.fault, recovered_s=measure(strike))
        if self.strikes:
            ledger.note(self.strikes[0].fault, times=0, lost=found.lost, doubled=found.doubled)
        assert (found.lost, found.doubled, found.wrong) == (0, 0, []), found

    def found(self) -> "Found":
        found = Found()
        self._of_the_night(found)
        self._of_the_mail(found)
        self._of_the_posts(found)
        looked = self.service.by_hand("verify", "--json")
        if looked.returncode != 0:
            found.wrong.append(f"verify: {looked.stdout[-2000:]} {looked.stderr[-2000:]}")
        return found

    def _of_the_night(self, found: "Found") -> None:
        clients = self.bench.world["clients"]
        scores = self.rows(
            "SELECT client_id, count(*) FROM coaching_score WHERE revision = 0 GROUP BY client_id"
        )
        found.lost += clients - len(scores)
        found.doubled += sum(count - 1 for _, count in scores)
        aside = self.number("SELECT count(*) FROM coaching_nightclient WHERE state = 'failed'")
        if aside:
            found.wrong.append(f"{aside} clients were set aside")
        alerts = self.rows(ALERTS)
        found.lost += len(set(self.bench.alerts) - set(alerts))
        found.doubled += len(alerts) - len(set(alerts)) + len(set(alerts) - set(self.bench.alerts))
        if self.number("SELECT count(*) FROM coaching_nightclient WHERE state = 'todo'"):
            found.wrong.append("clients are still to do")

    def _of_the_mail(self, found: "Found") -> None:
        taken = self.mail.taken
        mornings = self.rows("SELECT recipient FROM coaching_mailrow WHERE kind = 'morning'")
        found.lost += len({*self.bench.world["coaches"]} - {recipient for (recipient,) in mornings})
        found.doubled += len(mornings) - len(set(mornings))
        told = {recipient.strip("<>") for recipient in taken.recipients.values()}
        found.lost += len({recipient for (recipient,) in mornings} - told)
        repeats = sum(copies - 1 for copies in taken.copies.values())
        kills = sum("worker" in strike.fault for strike in self.strikes)
        if repeats > taken.ambiguous + kills:
            found.wrong.append(
                f"{repeats} repeats of mails, {taken.ambiguous} ambiguous answers, {kills} kills"
            )

    def _of_the_posts(self, found: "Found") -> None:
        if self.devices is None:
            return
        posted = self.devices.posted
        assert posted.acknowledged, "nothing was posted"
        found.acknowledged = len(posted.acknowledged)
        found.lost += len(missing(self.service.url, posted))
        found.doubled += self.number("SELECT count(*) - count(DISTINCT uid) FROM coaching_session")
        if posted.statuses.get(500) or posted.without_retry_after:
            found.wrong.append(f"answers {posted.statuses}, {posted.without_retry_after} without Retry-After")


@dataclass
class Found:
    lost: int = 0
    doubled: int = 0
    acknowledged: int = 0
    wrong: list[str] = field(default_factory=list)
