"""How long processes take before they do anything: imports, a worker, and a history that is played again."""

import csv
import pkgutil
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from datetime import date, timedelta
from pathlib import Path
from statistics import median

from coaching import compute
from coaching.speed.measuring import Contender, Figures, Goal, Measured, measure
from coaching.speed.own_database import ROOT, BenchError, OwnDatabase, made_in, own_database

NUMPY, OF_NIGHT, ALL = "import of numpy", "import of what a night computes with", "import of all of compute"
WORKER, BARE_WORKER = "worker until it is ready", "bare worker until it is ready"
REPLAY, DRAIN = "replay of pain", "its file through the csv reader"
OUR_APP = ("coaching.celery", "coaching.settings")
BARE_APP = ("coaching.speed.bare_worker", "coaching.speed.bare_settings")
IMPORTS_PER_ROUND = 3
# As a deployed service runs; empty is as if it were not set.
WITH_BYTE_CODE = {"PYTHONDONTWRITEBYTECODE": ""}
READY_WITHIN_S = 60.0
SITES_OF_CLIENT = (("knee", "left"), ("shoulder", "right"), ("lumbar_spine", "midline"))
FIRST_ON = date(2025, 1, 1)


def goals() -> Sequence[Goal]:
    return (
        Goal("import of what a night computes with, against numpy alone", OF_NIGHT, NUMPY, "took_s", 1.5),
        Goal("import of all of compute, against numpy alone", ALL, NUMPY, "took_s", 1.5),
        Goal("start of a worker against a bare one", WORKER, BARE_WORKER, "took_s", 1.3),
        Goal("replay against draining its file", REPLAY, DRAIN, "took_s"),
    )


def run(
    folder: Path, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    with ExitStack() as stack:
        own = stack.enter_context(own_database(made_in(folder, "starts")))
        return measure(
            suite="starts", database=own.engine, sizes=sizes, goals=goals(), rounds=rounds, tell=tell,
            contenders=contenders(own, sizes, seed),
        )  # fmt: skip


def contenders(own: OwnDatabase, sizes: Mapping[str, int], seed: int) -> Sequence[Contender]:
    history = own.folder / "pain.csv"
    _write_history(history, sizes["sites"], sizes["nights"], random.Random(seed))  # noqa: S311
    every = [f"coaching.compute.{module.name}" for module in pkgutil.iter_modules(compute.__path__)]
    return (
        Contender(NUMPY, lambda: _imports(own, ["numpy"])),
        Contender(OF_NIGHT, lambda: _imports(own, _modules_of_night(own))),
        Contender(ALL, lambda: _imports(own, every)),
        Contender(
            BARE_WORKER, lambda: _worker(own, "coaching.speed.bare_worker", "coaching.speed.bare_settings")
        ),
        Contender(WORKER, lambda: _worker(own, "coaching.celery", "coaching.settings")),
        Contender(DRAIN, lambda: {"took_s": _drain(history)}),
        Contender(REPLAY, lambda: {"took_s": _replay(own, history)}),
    )


def _imports(own: OwnDatabase, modules: Sequence[str]) -> Figures:
    """Seconds of the imports alone, each time in a fresh interpreter that keeps its byte code."""
    code = "import time; began = time.perf_counter()\n" + "".join(f"import {name}\n" for name in modules)
    code += "print(time.perf_counter() - began)"
    taken = [float(own.run("-c", code, **WITH_BYTE_CODE).said) for _ in range(IMPORTS_PER_ROUND)]
    return {"took_s": median(taken)}


def _modules_of_night(own: OwnDatabase) -> Sequence[str]:
    code = "import django, sys; django.setup(); import coaching.nightly; print(*sys.modules)"
    return [name for name in own.run("-c", code).said.split() if name.startswith("coaching.compute.")]


def _worker(own: OwnDatabase, app: str, settings: str) -> Figures:
    """From the start of the process until it says that it is ready; its broker lives in its own memory."""
    command = [sys.executable, "-m", "celery", "-A", app, "worker", "-l", "INFO", "-c", "1"]
    env = own.env | {"DJANGO_SETTINGS_MODULE": settings, "REDIS_URL": "memory://"} | WITH_BYTE_CODE
    said: list[str] = []
    began = time.monotonic()
    process = subprocess.Popen(  # noqa: S603 - our own command  # nosec B603
        command, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    try:
        for line in process.stdout or ():
            said.append(line)
            if re.search(r"\bready\b", line):
                return {"took_s": time.monotonic() - began}
            if time.monotonic() - began > READY_WITHIN_S:
                break
        raise BenchError(f"{app} was not ready: {''.join(said)[-800:]}")
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=READY_WITHIN_S)


def _write_history(path: Path, sites: int, nights: int, chance: random.Random) -> None:
    """Three sites of each client, three sessions a week, some of them without a report."""
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(("client", "joint", "side", "day", "pain", "joint_reps"))
        for number in range(sites):
            joint, side = SITES_OF_CLIENT[number % len(SITES_OF_CLIENT)]
            usual = chance.uniform(1, 4)
            for back in range(nights):
                is_trained = back % 7 in (0, 2, 4)
                felt = round(min(10, max(0, usual + chance.gauss(0, 0.8))))
                pain = felt if is_trained and chance.random() > 0.15 else ""
                reps = chance.randrange(20, 60) if is_trained else 0
                day = FIRST_ON + timedelta(days=back)
                writer.writerow((f"client {number // len(SITES_OF_CLIENT)}", joint, side, day, pain, reps))


def _drain(path: Path) -> float:
    began = time.monotonic()
    with path.open(newline="") as file:
        for _ in csv.reader(file):
            pass
    return time.monotonic() - began


def _replay(own: OwnDatabase, path: Path) -> float:
    words = ("manage.py", "replay", "pain", str(path), "--out", str(own.folder / "flags.csv"))
    return own.run(*words, **WITH_BYTE_CODE).took_s
