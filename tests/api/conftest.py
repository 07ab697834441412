"""Every answer that an API test gets must be one that the API document lists for its operation."""

import json
import re
from functools import cache
from typing import Any

import pytest
from django.http import Http404
from django.test.client import ClientHandler
from django.urls import resolve

from tests.api.contract_story import operations_of, read_document

PROBLEM = "application/problem+json"
# Told once, in the introduction of the document.
ANYWHERE = {
    "bad_request",
    "https_required",
    "method_not_allowed",
    "not_acceptable",
    "length_required",
    "too_large",
    "server_error",
}


@cache
def documented() -> dict[tuple[str, str], dict[str, Any]]:
    rows = operations_of(read_document())
    return {(method, path): operation["responses"] for _, method, path, operation in rows}


def fault_of(environ: dict[str, Any], answer: Any) -> str:
    try:
        route = resolve(environ["PATH_INFO"]).route
    except Http404:
        return ""
    path = "/" + re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", route)
    listed = documented().get((environ["REQUEST_METHOD"], path))
    status = str(answer.status_code)
    if listed is None or status == "304":
        return ""
    if status < "400":
        return "" if status in listed else f"{path} answers {status}"
    code = json.loads(answer.content)["type"].rsplit("/", 1)[1]
    known = listed.get(status, {}).get("content", {}).get(PROBLEM, {}).get("examples", {})
    return "" if code in known or code in ANYWHERE else f"{path} answers {status} {code}"


@pytest.fixture(autouse=True)
def only_documented_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    handle = ClientHandler.__call__

    def checked(self: ClientHandler, environ: dict[str, Any]) -> Any:
        answer = handle(self, environ)
        fault = fault_of(environ, answer)
        assert not fault, f"The API document does not say that {fault}."
        return answer

    monkeypatch.setattr(ClientHandler, "__call__", checked)
