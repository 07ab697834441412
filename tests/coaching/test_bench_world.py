"""The bench's practices are such as the service itself would have written."""

import json
import os
import subprocess
import sys
from datetime import date

import pytest

from coaching.speed.own_database import BenchError, own_database
from coaching.speed.spreading import OF_CLIENT
from coaching.speed.suites import SUITES
from coaching.speed.templates import STORIES
from coaching.speed.world import make_world
from tests.journeys.processes import ROOT

UNTIL = date(2026, 3, 2)
COUNTS = """
import django, json
django.setup()
from django.apps import apps
from coaching.models.scope import across_practices
with across_practices("a test counts"):
    names = ("client", "session", "loggedset", "jointday")
    print(json.dumps({name: apps.get_model("coaching", name).objects.count() for name in names}))
"""


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    with own_database(tmp_path_factory.mktemp("bench")) as own:
        clients = make_world(
            own,
            clients=50,
            practices=2,
            weeks=2,
            sets_per_session=5,
            seed=7,
            until=UNTIL,
            tell=lambda _: None,
        )
        yield own, clients


def test_copies_stand_like_the_originals(world):
    own, clients = world
    counts = json.loads(own.run("-c", COUNTS).said)
    copies = clients // len(STORIES)
    assert counts["client"] == clients == 60
    assert counts["session"] % copies == 0
    assert counts["loggedset"] == 5 * counts["session"]
    assert "loggedset" in OF_CLIENT


def test_nothing_in_it_contradicts_anything_else(world):
    own, _ = world
    broken = json.loads(own.manage("verify", "--json").said)["broken"]
    differences = json.loads(own.manage("recompute", "--json").said)["differences"]
    assert (broken, differences) == ([], [])


def test_processes_share_a_night_and_each_client_is_scored_once(world):
    own, clients = world
    words = ("night", "--on", str(UNTIL), "--processes", "3", "--json")
    if own.engine == "sqlite":
        with pytest.raises(BenchError, match="one process writes at a time"):
            own.manage(*words)
        return
    nights = json.loads(own.manage(*words).said)["nights"]
    assert {night["status"] for night in nights} == {"done"}
    assert sum(night["clients_scored"] for night in nights) == clients
    counted = COUNTS.replace('"client", ', '"client", "score", "nightclient", ')
    counts = json.loads(own.run("-c", counted).said)
    assert counts["score"] == counts["nightclient"] == clients


def test_a_part_that_fails_is_told_with_its_last_words(world):
    own, _ = world
    with pytest.raises(BenchError, match="ended with 3: it is late"):
        own.run("-c", "import sys; sys.stderr.write('it is late'); sys.exit(3)")


def test_a_process_is_measured_by_itself(world):
    own, _ = world
    hold = "import time; held = b'x' * {}; time.sleep(0.2)"
    small, big = (own.run("-c", hold.format(size)) for size in (1_000, 200_000_000))
    assert small.peak_mb + 150 < big.peak_mb


SMALL = ("--weeks", "2", "--sets-per-session", "5")
SUITES_SMALL = {
    "night": ("--clients", "40", "--practices", "1", *SMALL),
    "ingest": ("--posters", "2", "--posts", "4", "--sets", "5"),
    "reads": ("--clients", "20", "--requests", "3", *SMALL),
    "starts": ("--sites", "5", "--nights", "60"),
    # The served process of the embedded default looks for due nights once a minute.
    "load": ("--clients", "20", "--posters", "2", "--readers", "1", "--seconds", "150", *SMALL),
}
ON_POSTGRESQL = {"growth": ("--clients", "40", "--practices", "2", *SMALL)}


def test_every_suite_has_a_small_run():
    assert SUITES_SMALL.keys() | ON_POSTGRESQL.keys() == SUITES.keys()


def bench(tmp_path, name, words):
    done = subprocess.run(
        [sys.executable, "manage.py", "bench", name, *words, "--rounds", "1", "--json"],
        cwd=ROOT, env=os.environ | {"FORBEAR_VAR_DIR": str(tmp_path)}, capture_output=True, text=True,
        timeout=900,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.long
@pytest.mark.parametrize("name", SUITES_SMALL)
def test_a_suite_runs_to_its_end(tmp_path, name):
    told = bench(tmp_path, name, SUITES_SMALL[name])
    assert told["ratios"]
    of_all = {each["figure"]: each["median"] for each in told["figures"] if each["of"] == "all"}
    assert of_all.get("answers_5xx", 0) == of_all.get("sessions_lost", 0) == 0


@pytest.mark.long
@pytest.mark.postgresql
@pytest.mark.parametrize("name", ON_POSTGRESQL)
def test_a_suite_of_postgresql_runs_to_its_end(tmp_path, name):
    told = bench(tmp_path, name, ON_POSTGRESQL[name])
    assert {"coaching_loggedset", "coaching_jointday"} <= {each["table"] for each in told["tables"]}
