"""Every operation of the API document, with what it says and with what it does not, as everyone who may ask.

Three cases in four name rows that exist, so that the views are reached and not only their gates.
"""

import json
import random
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

import pytest
import schemathesis
from django.core.signals import got_request_exception, request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import Failure, FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    ignored_auth,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.problems import CONTENT_TYPE, TYPE_PREFIX
from coaching import nightly
from tests.fuzz.known import ACTORS, Known, build_practice

SEED = 20260316
CASES = 10
CASES_LONG = 300
# Pictures and pages to print take a tenth of a second each.
CASES_DRAWN = 3
CASES_DRAWN_LONG = 40
FED = 0.75
GOAL = 0.2
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
    ignored_auth,
]


# Answered rightly, and not in the document yet: each line goes once the document says so.
UNDOCUMENTED = {
    ("GET /api/v1/sessions/{session_id}", 410),
    ("DELETE /api/v1/sessions/{session_id}", 410),
    ("POST /api/v1/sign-in", 401),
}


@dataclass
class Tally:
    """What one operation answered."""

    statuses: Counter[int] = field(default_factory=Counter)
    faults: dict[str, str] = field(default_factory=dict)

    @property
    def cases(self) -> int:
        return self.statuses.total()

    @property
    def share(self) -> float:
        return sum(n for status, n in self.statuses.items() if 200 <= status < 300) / max(self.cases, 1)


@pytest.fixture
def known(cast, signed_in, time_machine) -> Known:
    time_machine.move_to(datetime(2026, 3, 16, 12, tzinfo=UTC), tick=False)

    def run_night() -> None:
        nightly.night_by_hand(practice=cast.practice, night_on=date(2026, 3, 16), now=datetime.now(UTC))

    return build_practice(cast, signed_in, run_night)


@contextmanager
def connection_kept() -> Iterator[None]:
    """The connection outlives a request, since its transaction is the test's."""
    ends = (request_started, request_finished)
    for signal in ends:
        signal.disconnect(close_old_connections)
    try:
        yield
    finally:
        for signal in ends:
            signal.connect(close_old_connections)


@pytest.fixture
def document(db):
    with connection_kept():
        found = schemathesis.openapi.from_wsgi("/api/v1/schema?format=json", get_wsgi_application())
    return [result.ok() for result in found.get_all_operations()]


def is_drawn(path: str) -> bool:
    return "/picture." in path or path.endswith((".pdf", ".html"))


def fuzz(document: Any, known: Known, cases: int, cases_drawn: int) -> dict[str, Tally]:
    """Send the cases, each in a transaction that is undone, and keep what was wrong instead of stopping."""
    raised: list[str] = []

    def keep(**kwargs: Any) -> None:
        raised.append(repr(sys.exc_info()[1]))

    got_request_exception.connect(keep)
    tallies: defaultdict[str, Tally] = defaultdict(Tally)
    try:
        with connection_kept():
            for operation in document:
                examples = cases_drawn if is_drawn(operation.path) else cases
                send_cases(operation, known, tallies[operation.label], examples, raised)
    finally:
        got_request_exception.disconnect(keep)
    return dict(tallies)


def send_cases(operation: Any, known: Known, tally: Tally, examples: int, raised: list[str]) -> None:
    @seed(SEED)
    @settings(
        max_examples=examples,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(
        case=operation.as_strategy(generation_mode=GenerationMode.POSITIVE), number=st.integers(0, 2**64 - 1)
    )
    def send(case: Any, number: int) -> None:
        chance = random.Random(f"{number}:{operation.label}:{tally.cases}")
        with transaction.atomic():
            send_case(case, known, tally, chance, raised)
            transaction.set_rollback(True)

    send()


def send_case(case: Any, known: Known, tally: Tally, chance: random.Random, raised: list[str]) -> None:
    if chance.random() < FED:
        feed(case, known, chance)
    who = chance.choices(ACTORS, weights=[4, 6, 4, 1, 1])[0]
    headers = {} if who == "nobody" else {"Authorization": known.tokens[who]}
    if case.method in ("PATCH", "PUT", "DELETE", "POST") and chance.random() < 0.85:
        headers["If-Match"] = f'"{current_version(case, known) - chance.choice([0] * 8 + [1])}"'
    raised.clear()
    response = case.call(headers=headers)
    tally.statuses[response.status_code] += 1
    told = f"{who} {case.method} {case.formatted_path} {case.query} {case.body!r}"[:900]
    try:
        case.validate_response(response, checks=CHECKS, headers=headers)
        check_problem(response)
    except FailureGroup as group:
        for failure in group.exceptions:
            if (case.operation.label, response.status_code) not in UNDOCUMENTED:
                keep_fault(tally, response, failure, f"{told} {raised}")
    except AssertionError as failure:
        keep_fault(tally, response, failure, told)


def keep_fault(tally: Tally, response: Any, failure: BaseException, told: str) -> None:
    title = failure.title if isinstance(failure, Failure) else str(failure)
    tally.faults.setdefault(f"{response.status_code} {title}", f"{str(failure)[:400]}\n{told}")


def check_problem(response: Any) -> None:
    """A refusal is RFC 9457 problem+json that says its own status and a type of ours."""
    if response.status_code < 400:
        return
    assert response.headers["content-type"] == [CONTENT_TYPE], "a refusal that is no problem+json"
    body = json.loads(response.content)
    assert body["status"] == response.status_code, "a problem of another status"
    assert body["type"].startswith(TYPE_PREFIX), "a problem of no type of ours"
    assert body["type"] != f"{TYPE_PREFIX}error", "a problem without a code of its own"


def feed(case: Any, known: Known, chance: random.Random) -> None:
    """Put ids that exist, and values that are meant, where the case has anything."""
    for name in case.path_parameters:
        value = known.value(name, chance)
        if value is not None:
            case.path_parameters[name] = value
    for name in list(case.query):
        value = known.value(name, chance)
        if value is not None:
            case.query[name] = value
    template = known.bodies.get(body_name(case))
    if template is not None:
        case.body = mixed(template, case.body, chance)
    elif isinstance(case.body, dict):
        case.body = named(case.body, known, chance)


def body_name(case: Any) -> str:
    """The schema of the body that the document names."""
    content = case.operation.definition.raw.get("requestBody", {}).get("content", {})
    reference = next((form["schema"].get("$ref", "") for form in content.values()), "")
    return reference.rsplit("/", 1)[-1].removeprefix("Patched")


def mixed(template: dict[str, Any], drawn: Any, chance: random.Random) -> Any:
    """A body that is accepted, with now and then a field as it was drawn."""
    body = json.loads(json.dumps(template))
    if isinstance(drawn, dict) and chance.random() < 0.5:
        for key in drawn:
            if chance.random() < 0.3:
                body[key] = drawn[key]
    return body


def named(value: Any, known: Known, chance: random.Random) -> Any:
    """The drawn body with ids that exist wherever a key asks for one."""
    if isinstance(value, list):
        return [named(row, known, chance) for row in value]
    if not isinstance(value, dict):
        return value
    body = {key: named(inner, known, chance) for key, inner in value.items()}
    for key, inner in body.items():
        if isinstance(inner, str):
            body[key] = known.value(key, chance) or inner
    return body


def current_version(case: Any, known: Known) -> int:
    """The version of the row named last in the address; the client's own is no key of the others."""
    for value in reversed(list(case.path_parameters.values())):
        if str(value) in known.versions:
            return known.versions[str(value)]
    return 1


def table(tallies: dict[str, Tally]) -> str:
    lines = [f"{'operation':<92} {'cases':>5} {'2xx':>5}  answers"]
    for label, tally in sorted(tallies.items()):
        answers = " ".join(f"{status}:{n}" for status, n in sorted(tally.statuses.items()))
        lines.append(f"{label:<92} {tally.cases:>5} {tally.share:>5.0%}  {answers}")
    total = sum(tally.cases for tally in tallies.values())
    return "\n".join([*lines, f"{len(tallies)} operations, {total} cases"])


def faults_of(tallies: dict[str, Tally]) -> dict[str, str]:
    return {
        f"{label}: {fault}": told for label, tally in tallies.items() for fault, told in tally.faults.items()
    }


@pytest.mark.long
def test_many_cases_of_every_operation_are_answered_as_the_document_says(document, known, capsys):
    tallies = fuzz(document, known, CASES_LONG, CASES_DRAWN_LONG)
    with capsys.disabled():
        sys.stdout.write(f"\n{table(tallies)}\n")
    assert faults_of(tallies) == {}
    low = {label for label, tally in tallies.items() if tally.share < GOAL}
    assert low == set()


@pytest.mark.long
def test_every_operation_answers_as_the_document_says(document, known):
    tallies = fuzz(document, known, CASES, CASES_DRAWN)
    sys.stdout.write(f"\n{table(tallies)}\n")
    assert faults_of(tallies) == {}
    assert {label for label, tally in tallies.items() if tally.share == 0} == set()
