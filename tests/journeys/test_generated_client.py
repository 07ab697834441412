"""A client that a general generator makes of the API document, against the real server.

Nobody here wrote the client: whatever it cannot parse, send or read is a fault of the document.
"""

import compileall
import importlib
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import yaml

from coaching.demo.plans import PRESSING
from coaching.demo.stories import STORIES
from coaching.demo.training import ZONE, SkippedDay, TrainedDay, days_of
from tests.journeys.processes import BIN, ROOT, Served, answers, environment, free_port, wait_until

DOCUMENT = ROOT / "api" / "openapi.yaml"
# The generator knows JSON, text and bytes; pictures and pages are one of these.
CONFIG = """\
post_hooks: []
content_type_overrides:
  image/png: application/octet-stream
  application/pdf: application/octet-stream
  application/zip: application/octet-stream
  image/svg+xml: text/plain
  text/csv: application/octet-stream
"""
PACKAGE = "forbear_client"
BATCH = 12
LAST_DAYS = 3
STARTS_WITHIN_S = 180.0
STORY = STORIES[0]


def operations() -> dict[str, dict[str, Any]]:
    document = yaml.load(DOCUMENT.read_text(encoding="utf-8"), yaml.CSafeLoader)
    return {row["operationId"]: row for methods in document["paths"].values() for row in methods.values()}


OPERATIONS = operations()


@dataclass(frozen=True)
class Generated:
    folder: Path
    told: str


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Generated]:
    """The generated package, importable; its generator has no proxy to the world and asks nothing of it."""
    folder = tmp_path_factory.mktemp("generated")
    config = folder / "config.yaml"
    config.write_text(CONFIG)
    words = [str(BIN / "openapi-python-client"), "generate", "--fail-on-warning", "--meta", "none"]
    words += ["--path", str(DOCUMENT), "--config", str(config), "--output-path", str(folder / PACKAGE)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=300, cwd=folder)
    assert done.returncode == 0, (done.stdout + done.stderr)[-4000:]
    sys.path.insert(0, str(folder))
    yield Generated(folder, done.stdout + done.stderr)
    sys.path.remove(str(folder))
    for name in [name for name in sys.modules if name.split(".")[0] == PACKAGE]:
        del sys.modules[name]


def test_it_is_generated_without_a_warning(generated):
    assert "WARNING" not in generated.told
    assert "Unable" not in generated.told


def test_every_operation_has_its_module(generated):
    made = {path.stem for path in (generated.folder / PACKAGE / "api").glob("*/*.py")}
    assert made - {"__init__"} == set(OPERATIONS)


def test_all_of_it_compiles(generated):
    assert compileall.compile_dir(generated.folder / PACKAGE, quiet=2, legacy=True)


def test_its_types_hold(generated):
    words = [str(BIN / "mypy"), "--config-file", "", "--cache-dir", str(generated.folder / "mypy")]
    words += ["-m", f"{PACKAGE}.api.sessions.session_put", "-m", f"{PACKAGE}.api.changes.change_list"]
    done = subprocess.run(words, capture_output=True, text=True, timeout=300, cwd=generated.folder)
    assert done.returncode == 0, done.stdout[-4000:]


@dataclass(frozen=True)
class Person:
    """Somebody with the generated client; every answer is parsed by its models."""

    address: str
    token: str = ""

    def client(self) -> Any:
        package = importlib.import_module(PACKAGE)
        if not self.token:
            return package.Client(base_url=self.address)
        return package.AuthenticatedClient(base_url=self.address, token=self.token)

    def ask(self, operation_id: str, status: int = 200, body: Any = None, **parameters: Any) -> Any:
        operation = OPERATIONS[operation_id]
        tag = operation["tags"][0].replace("-", "_")
        module = importlib.import_module(f"{PACKAGE}.api.{tag}.{operation_id}")
        if body is not None:
            content = next(iter(operation["requestBody"]["content"].values()))
            shape = content["schema"]["$ref"].rsplit("/", 1)[1]
            models = importlib.import_module(f"{PACKAGE}.models")
            parameters["body"] = getattr(models, shape).from_dict(body)
        with self.client() as client:
            answer = module.sync_detailed(client=client, **parameters)
        assert answer.status_code == status, answer.content[:1000]
        return answer.parsed


@dataclass(frozen=True)
class Practice:
    coach: Person
    client: Person
    client_id: Any
    days: list[TrainedDay]
    today: date
    var: Path = Path()


def run(var: Path, *words: str) -> str:
    done = subprocess.run(
        [str(BIN / "python"), "manage.py", *words],
        capture_output=True,
        text=True,
        timeout=300,
        cwd=ROOT,
        env=environment(var),
    )
    assert done.returncode == 0, done.stderr[-4000:]
    return done.stdout


def accepted(address: str, token: str, name: str) -> Person:
    body = {
        "token": token,
        "name": name,
        "password": f"the long password of {name}",
        "device_name": "phone",
    }
    return Person(address, Person(address).ask("invitation_accept", 201, body).token)


def set_up(address: str, token: str) -> Practice:
    today = datetime.now(ZoneInfo(ZONE)).date()
    start_on = today - timedelta(days=today.weekday() or 7, weeks=16)
    accepted(address, token, "Ines Varga")
    sign_in = {
        "email": "ines@example.org",
        "password": "the long password of Ines Varga",
        "device_name": "tablet",
    }
    coach = Person(address, Person(address).ask("sign_in", 200, sign_in).token)
    record = {"name": STORY.name, "training_status": "intermediate"}
    client_id = coach.ask("client_create", 201, record).id
    invitation = {"role": "client", "email": "maren@example.org", "client": str(client_id)}
    client = accepted(address, coach.ask("invitation_create", 201, invitation).token, STORY.name)
    client.ask("consent_give", 201, {"text_version": "2026-01"}, client_id=client_id, purpose="health_data")
    plan = coach.ask("plan_create", 201, PRESSING.body(18))
    given = {"plan": str(plan.id), "starts_on": str(start_on), "override_reason": "As agreed."}
    coach.ask("assignment_create", 201, given, client_id=client_id)
    days = [day for day in days_of(STORY, start_on, today) if not isinstance(day, SkippedDay)]
    return Practice(coach, client, client_id, days, today)


@pytest.fixture(scope="module")
def practice(generated: Generated, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Practice]:
    var, port = tmp_path_factory.mktemp("var"), free_port()
    address = f"http://127.0.0.1:{port}"
    served = Served(
        ["python", "manage.py", "serve", "--no-ticker", "--port", str(port)], environment(var), var / "log"
    )
    try:
        wait_until(lambda: answers(f"{address}/readyz"), "ready", STARTS_WITHIN_S, served)
        place = ("--zone", ZONE, "--country", "PT", "--owner-email", "ines@example.org")
        made = json.loads(run(var, "create_practice", "--name", "Quiet Harbour Strength", *place, "--json"))
        found = set_up(address, made["token"])
        earlier = found.days[:-LAST_DAYS]
        for first in range(0, len(earlier), BATCH):
            post_batch(found.client, earlier[first : first + BATCH])
        yield replace(found, days=found.days[-LAST_DAYS:], var=var)
    finally:
        served.kill()


def post_batch(client: Person, days: list[TrainedDay]) -> list[int]:
    items = [{"id": day.session_id} | day.body for day in days]
    answer = client.ask("session_put_batch", 200, {"items": items})
    return [item.status for item in answer.items]


def test_a_clients_week(practice):
    client, client_id, today = practice.client, practice.client_id, practice.today
    window = {"from_": today - timedelta(days=7), "until": today + timedelta(days=7)}
    calendar = client.ask("scheduled_session_list", client_id=client_id, **window)
    assert [block.kind for block in calendar.items[0].day.blocks]
    mark = client.ask("change_list", page_size=200).mark
    first, *others = practice.days
    stored = client.ask("session_put", 201, first.body, session_id=first.session_id)
    again = client.ask("session_put", 200, first.body, session_id=first.session_id)
    assert again.session == stored.session
    assert post_batch(client, [first, *others]) == [200, *[201] * len(others)]
    report = {
        "joint": "knee",
        "side": "left",
        "moment": "at_rest",
        "pain": 1,
        "reported_at": f"{today}T00:00:01Z",
    }
    client.ask("pain_report_put", 201, report, report_id="5a9c9f44-4b3f-4d53-9d1c-5f1d0b3b1a01")
    morning = {**report, "joint": "shoulder", "side": "right", "moment": "next_morning", "pain": 4}
    client.ask("pain_report_put", 201, morning, report_id="5a9c9f44-4b3f-4d53-9d1c-5f1d0b3b1a02")
    changed = client.ask("change_list", since=mark)
    stored_ids = {str(change.id) for change in changed.items if change.kind == "session"}
    assert stored_ids == {day.session_id for day in practice.days}
    coming = next(row for row in calendar.items if row.due_on >= today)
    advice = client.ask("next_load_list", client_id=client_id, scheduled_session_id=coming.id)
    assert advice.computed.method and advice.computed.until_on
    assert all(row.advice.sentence for block in advice.blocks for row in block.prescriptions)


def test_a_coachs_whole_morning(practice):
    coach, client_id, today = practice.coach, practice.client_id, practice.today
    post_batch(practice.client, practice.days)
    run(practice.var, "night", "--on", str(today))
    sheet = coach.ask("morning_sheet_get", on=today)
    entry = next(entry for entry in sheet.entries if entry.client == client_id)
    line = entry.lines[0]
    assert line.computed.method and line.computed.until_on
    history = coach.ask("history_get", client_id=client_id, weeks=8)
    shoulder = next(site for site in history.sites if site.joint == "shoulder" and site.side == "right")
    assert len(history.weeks) == len(shoulder.joint_reps) == len(shoulder.pain_highest) == 8
    score = coach.ask("score_list", client_id=client_id).items[0]
    assert 0 <= score.adherence_low <= score.adherence_high <= 1
    alert = coach.ask("alert_get", alert_id=line.alert)
    assert alert.evidence.to_dict()
    read = coach.ask("alert_acknowledge", alert_id=line.alert, if_match=f'"{alert.version}"')
    assert read.status == "acknowledged"
    picture = coach.ask("site_picture_get_png", client_id=client_id, joint="shoulder", side="right")
    assert picture.payload.read().startswith(b"\x89PNG")
    words = coach.ask("site_picture_get_svg", client_id=client_id, joint="shoulder", side="right")
    assert words.startswith("<") and "<svg" in words
