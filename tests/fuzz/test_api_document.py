"""Every operation of the API document, with what it says and with what it does not, as everyone who may ask.

No answer is a 5xx, none is missing in the document, and no stranger is shown a row. The long run prints two
tables; `.venv/bin/python -m pytest -m long -s tests/fuzz/test_api_document.py` is that run alone.
"""

import json
import random
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import schemathesis
from django.core.signals import got_request_exception, request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from rest_framework.response import Response
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.clients import ClientView
from api.problems import CONTENT_TYPE, TYPE_PREFIX, Problem
from coaching.exchange import public_addresses
from tests.api.conftest import ANYWHERE, documented
from tests.api.contract_story import read_document
from tests.api.test_hostile_inputs import TEST_ORIGIN
from tests.fuzz.asking import ASKERS, Known, Sent, furnished, prepared
from tests.fuzz.tally import Tally, table_of_operations, table_of_roles

SEED = 20260302
# Of each operation as each role; pictures and pages to print take a tenth of a second each.
CASES, CASES_DRAWN = 2, 1
CASES_LONG, CASES_DRAWN_LONG = 5, 2
# A body drawn from its whole schema takes a second; the bounded run changes the matrix's own instead.
LARGEST = ("plan_create", "plan_replace")
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]
# What these roles are to be answered with 2xx or 304, at least; nobody's calls are refused, and rightly.
GOALS = {"owner": 0.4, "coach": 0.4, "self": 0.25, "far_coach": 0.15}

# Ids that a client app makes are each practice's own: another's id there names nothing, and is taken as new.
# The address of a calendar is its key, whoever asks.
CROSSES_NOTHING = {
    "GET /api/v1/calendar/{token}.ics",
    *(
        f"{method} {path}"
        for method in ("PUT", "DELETE")
        for path in ("/api/v1/pain-reports/{report_id}", "/api/v1/sessions/{session_id}")
    ),
}
# Of twenty-five cases as five roles not one may be done where a call is seldom right.
MISSED_BY_CHANCE = 3
# Done only with the code of a mail or an authenticator, a server that listens, or two records that do not
# contradict each other; their own tests do them.
NEVER_DONE = {
    "POST /api/v1/clients/{client_id}/merging",
    "POST /api/v1/invitations/accept",
    "POST /api/v1/me/second-factor/confirmation",
    "POST /api/v1/me/second-factor/removal",
    "POST /api/v1/password-resets/accept",
    "POST /api/v1/webhooks/{webhook_id}/test",
}


@schemathesis.serializer("text/csv")
def csv_as_it_is(context: Any, value: Any) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode()


@pytest.fixture
def known(db, settings, time_machine, monkeypatch) -> Known:
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)
    settings.WEBHOOK_TEST_ADDRESSES = [TEST_ORIGIN]
    monkeypatch.setattr(public_addresses, "resolve_name", lambda host, port, within_s: ["93.184.215.14"])
    return furnished()


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


@pytest.fixture(scope="module")
def operations() -> list[Any]:
    """The committed document, which `make check` holds against the code."""
    schema = schemathesis.openapi.from_dict(read_document())
    schema.app = closing_its_answers(get_wsgi_application())
    return [result.ok() for result in schema.get_all_operations()]


def closing_its_answers(app: Any) -> Any:
    """As a server does; schemathesis leaves a file that it has read open."""

    def answer(environ: Any, start_response: Any) -> list[bytes]:
        sent = app(environ, start_response)
        try:
            return [b"".join(sent)]
        finally:
            sent.close()

    return answer


def is_made_slowly(path: str) -> bool:
    return "/picture." in path or path.endswith((".pdf", "/schema", "/docs"))


class Fuzz:
    """Sends cases, each in a transaction that is undone, and keeps what was wrong instead of stopping."""

    def __init__(self, known: Known) -> None:
        self.known = known
        self.tally = Tally()
        self.raised: list[str] = []

    def keep_error(self, **_: Any) -> None:
        self.raised.append(repr(sys.exc_info()[1]))

    def send_all(self, operations: list[Any], cases: int, cases_drawn: int, *, are_all_drawn: bool) -> Tally:
        got_request_exception.connect(self.keep_error)
        try:
            with connection_kept():
                for operation in operations:
                    count = cases_drawn if is_made_slowly(operation.path) else cases
                    name = operation.definition.raw["operationId"]
                    self.send_cases(operation, count, is_drawn=are_all_drawn or name not in LARGEST)
        finally:
            got_request_exception.disconnect(self.keep_error)
        return self.tally

    def send_cases(self, operation: Any, count: int, *, is_drawn: bool) -> None:
        """As many for each role; what Hypothesis draws is the same every time."""
        cases = operation.as_strategy(generation_mode=GenerationMode.POSITIVE) if is_drawn else st.none()
        roles = [role for role in ASKERS for _ in range(count)]

        @seed(SEED)
        @settings(
            max_examples=len(roles),
            phases=[Phase.generate],
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=cases, number=st.integers(0, 2**64 - 1))
        def send(case: Any, number: int) -> None:
            if not roles:
                return
            role = roles.pop()
            chance = random.Random(f"{number}:{operation.label}:{role}:{len(roles)}")
            with transaction.atomic():
                self.send_case(operation, case, role, chance)
                transaction.set_rollback(True)

        send()

    def send_case(self, operation: Any, from_schema: Any, role: str, chance: random.Random) -> None:
        case = operation.Case(path_parameters={}, media_type=media_type_of(operation))
        sent = prepared(case, from_schema, self.known, role, chance)
        self.raised.clear()
        response = case.call(headers=sent.headers)
        self.tally.count(role, case.operation.label, response.status_code)
        told = f"{role} {case.method} {case.formatted_path} {case.query} {case.body!r}"[:900]
        for fault in self.faults_of(case, response, sent):
            self.tally.undocumented[role] += 1
            label = f"{case.operation.label}: {response.status_code} {fault[:400]}"
            self.tally.faults.setdefault(label, f"{told} {sent.headers.get('If-Match')} {self.raised}")

    def faults_of(self, case: Any, response: Any, sent: Sent) -> Iterator[str]:
        is_crossing = sent.is_crossing and case.operation.label not in CROSSES_NOTHING
        if is_crossing and response.status_code < 400:
            yield "a stranger is shown what an id of another practice names"
        if response.status_code >= 400:
            code = problem_code(response)
            if code in ANYWHERE and response.status_code < 500:
                return
            listed = documented()[case.method, case.path]
            kinds = listed.get(str(response.status_code), {}).get("content", {}).get(CONTENT_TYPE, {})
            if code not in kinds.get("examples", {}):
                yield f"a problem that the document does not list: {code}"
        is_trimmed = response.status_code == 200 and "fields" in case.query
        checks = (
            [each for each in CHECKS if each is not response_schema_conformance] if is_trimmed else CHECKS
        )
        try:
            case.validate_response(response, checks=checks, headers=sent.headers)
        except FailureGroup as group:
            yield from (str(failure) for failure in group.exceptions)


def media_type_of(operation: Any) -> str | None:
    content = operation.definition.raw.get("requestBody", {}).get("content", {})
    return next(iter(content), None)


def problem_code(response: Any) -> str:
    """The code of a refusal, which is RFC 9457 problem+json that says its own status."""
    if response.headers["content-type"] != [CONTENT_TYPE]:
        return "no problem+json"
    body = json.loads(response.content)
    if body["status"] != response.status_code or not body["type"].startswith(TYPE_PREFIX):
        return "a problem of another status or type"
    return str(body["type"].removeprefix(TYPE_PREFIX))


def check(tally: Tally) -> None:
    told = "\n\n".join(f"{fault}\n{case}" for fault, case in tally.faults.items())
    assert not tally.faults, told
    low = {role: tally.done_by(role) for role, goal in GOALS.items() if tally.done_by(role) < goal}
    assert low == {}


def test_every_operation_answers_every_role_as_the_document_says(operations, known):
    tally = Fuzz(known).send_all(operations, CASES, CASES_DRAWN, are_all_drawn=False)
    sys.stdout.write(f"\n{table_of_operations(tally)}\n\n{table_of_roles(tally)}\n")
    assert set(tally.by_operation) == {operation.label for operation in operations}
    check(tally)


def broken_views(shown: Any) -> dict[str, Any]:
    """What a view of a client may come to, and the word that tells it."""

    def crash(*args: Any, **kwargs: Any) -> Response:
        raise RuntimeError

    def conflict(*args: Any, **kwargs: Any) -> Response:
        raise Problem("conflict", 409, "Never here.")

    return {
        "Server error": crash,
        "does not list: conflict": conflict,
        "Undocumented status code": lambda *args, **kwargs: Response(shown, status=202),
        "Response violates schema": lambda *args, **kwargs: Response({}),
        "a stranger is shown": lambda *args, **kwargs: Response(shown),
    }


def test_a_service_that_answers_otherwise_is_found_out(operations, known, monkeypatch):
    address = f"/api/v1/clients/{known.people.folders['coachs'].client}"
    views = broken_views(known.people.api("coach").get(address).json())
    asked = [operation for operation in operations if operation.label == "GET /api/v1/clients/{client_id}"]
    assert not Fuzz(known).send_all(asked, 6, 0, are_all_drawn=True).faults
    for word, view in views.items():
        monkeypatch.setattr(ClientView, "get", view)
        found = Fuzz(known).send_all(asked, 6, 0, are_all_drawn=True).faults
        assert any(word in fault for fault in found), (word, found)


@pytest.mark.long
def test_thousands_of_cases_are_answered_as_the_document_says(operations, known, capsys):
    tally = Fuzz(known).send_all(operations, CASES_LONG, CASES_DRAWN_LONG, are_all_drawn=True)
    with capsys.disabled():
        sys.stdout.write(f"\n{table_of_operations(tally)}\n\n{table_of_roles(tally)}\n")
    check(tally)
    never_done = {label for label in tally.by_operation if not tally.reached_by[label]}
    assert len(never_done - NEVER_DONE) <= MISSED_BY_CHANCE, never_done
