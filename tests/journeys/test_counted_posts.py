"""Posts counted by several workers of gunicorn add up, also when one of them is killed."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.compose_file import command_of
from tests.journeys.processes import ROOT, Served, answers, environment, free_port, wait_until

TOKEN = "an-invented-token-of-the-operator-0123456789"
SESSION = "/api/v1/sessions/00000000-0000-4000-8000-000000000001"
STARTS_WITHIN_S = 60.0
POSTS = 40


@pytest.fixture
def var(tmp_path: Path) -> Path:
    words = [sys.executable, "manage.py", "migrate", "-v0"]
    subprocess.run(words, cwd=ROOT, env=environment(tmp_path), check=True, timeout=120)
    return tmp_path


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def web(var: Path, port: int) -> Iterator[Served]:
    env = environment(var, WEB_PORT=str(port), WEB_WORKERS="2", METRICS_TOKEN=TOKEN)
    process = Served(command_of("web").words, env, var / "web.log")
    wait_until(lambda: answers(f"http://127.0.0.1:{port}/readyz"), "ready", STARTS_WITHIN_S, process)
    yield process
    process.kill()


def counted(address: str) -> float:
    answer = httpx.get(f"{address}/metrics", headers={"Authorization": f"Bearer {TOKEN}"}, timeout=20)
    lines = [line for line in answer.text.splitlines() if line.startswith("forbear_posts_total")]
    return sum(float(line.rpartition(" ")[2]) for line in lines)


def post_until_both_have_counted(address: str, var: Path) -> int:
    """Each post on a connection of its own, so that either worker may take it."""
    posted = 0
    while posted < POSTS or len(list(var.glob("metrics/counter_[0-9]*.db"))) < 2:
        assert httpx.put(f"{address}{SESSION}", json={}, timeout=20).status_code == 401
        posted += 1
        assert posted < 100 * POSTS
    return posted


def test_two_workers_add_up_and_what_a_killed_one_has_counted_stays(web, var, port):
    address = f"http://127.0.0.1:{port}"
    posted = post_until_both_have_counted(address, var)
    assert counted(address) == posted
    pids = {int(file.stem.partition("_")[2]) for file in var.glob("metrics/counter_[0-9]*.db")}
    os.kill(min(pids), signal.SIGKILL)
    wait_until(lambda: (var / "metrics/counter_gone.db").exists(), "taken over", STARTS_WITHIN_S, web)
    assert counted(address) == posted
    assert web.stop(10) == 0
