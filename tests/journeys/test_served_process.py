"""The embedded default as a person starts it: one process, its own database, real sockets."""

import json
import re
import socket
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from tests.journeys.processes import Served, answers, environment, free_port, wait_until

SESSION = "/api/v1/sessions/00000000-0000-4000-8000-000000000001"
DOCS_SCRIPT = "/api/v1/docs?script="
STARTS_WITHIN_S = 40.0
STOPS_WITHIN_S = 10.0


def start(var: Path, port: int) -> Served:
    words = ["python", "manage.py", "serve", "--port", str(port)]
    var.mkdir(exist_ok=True)
    served = Served(words, environment(var), var / "serve.log")
    wait_until(lambda: answers(f"http://127.0.0.1:{port}/readyz"), "ready", STARTS_WITHIN_S, served)
    return served


@pytest.fixture(scope="module")
def var(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("served")


@pytest.fixture(scope="module")
def port() -> int:
    return free_port()


@pytest.fixture(scope="module")
def served(var: Path, port: int) -> Iterator[Served]:
    process = start(var, port)
    yield process
    process.kill()


@pytest.fixture(scope="module")
def http(served: Served, port: int) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=10) as client:
        yield client


def raw(port: int, request: bytes) -> bytes:
    """The whole answer to bytes that no HTTP library would send."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        connection.sendall(request)
        answer = b""
        while piece := connection.recv(65536):
            answer += piece
        return answer


def test_it_says_that_it_migrates_a_new_database_first(served):
    assert "migrating it first" in served.told()


def test_it_is_alive_and_ready_without_a_token(http):
    assert http.get("/healthz").json() == {"status": "alive"}
    assert http.get("/readyz").json() == {"status": "ready"}


def test_the_schema_is_public(http):
    answer = http.get("/api/v1/schema")
    assert answer.status_code == 200
    assert "openapi: 3.1.0" in answer.text


def test_the_docs_page_loads_only_from_this_server(http):
    page = http.get("/api/v1/docs").text
    loaded = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert DOCS_SCRIPT in loaded
    assert {Path(address).suffix for address in loaded if address != DOCS_SCRIPT} == {".css", ".js", ".png"}
    for address in loaded:
        assert address.startswith("/static/") or address == DOCS_SCRIPT
        answer = http.get(address)
        assert answer.status_code == 200
        assert int(answer.headers["Content-Length"]) > 0


@pytest.mark.parametrize("address", ["/api/v1/docs", DOCS_SCRIPT])
def test_the_docs_page_names_no_other_server(http, address):
    page = http.get(address).text
    assert "//" not in re.sub(r"^\s*//.*$", "", page, flags=re.MULTILINE)  # but for lines of comment


def test_the_docs_page_asks_no_validator_elsewhere(http):
    script = http.get(DOCS_SCRIPT).text
    (settings,) = re.findall(r"const swaggerSettings = (\{.*?\});", script, flags=re.DOTALL)
    assert json.loads(settings)["validatorUrl"] is None


def test_the_styles_of_the_docs_page_load_nothing(http):
    page = http.get("/api/v1/docs").text
    (address,) = re.findall(r'rel="stylesheet" href="([^"]+)"', page)
    styles = http.get(address).text
    assert "@import" not in styles
    sources = re.findall(r"url\(['\"]?(.{5})", styles)
    assert sources and set(sources) == {"data:"}


def test_a_body_of_ten_megabytes_gets_a_clean_answer(http):
    answer = http.put(SESSION, content=b"0" * 10_000_000, headers={"Content-Type": "application/json"})
    assert answer.status_code == 413
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/too_large"


def test_the_connection_serves_on_after_a_body_that_was_too_large(http):
    http.put(SESSION, content=b"0" * 3_000_000, headers={"Content-Type": "application/json"})
    assert http.get("/healthz").status_code == 200


def test_a_chunked_body_is_refused_and_not_taken_for_an_empty_one(http):
    answer = http.post("/api/v1/sign-in", content=iter([b"{}"]), headers={"Content-Type": "application/json"})
    assert answer.request.headers["Transfer-Encoding"] == "chunked"
    assert answer.status_code == 411
    assert answer.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("lengths", "body"),
    [
        ("Content-Length: 2\r\nTransfer-Encoding: chunked\r\n", "0\r\n\r\n"),
        ("Content-Length: 2\r\nContent-Length: 3\r\n", "{}"),
        ("Content-Length: -2\r\n", "{}"),
    ],
    ids=["two framings", "two lengths", "negative length"],
)
def test_a_body_of_two_minds_about_its_length_is_refused(served, port, lengths, body):
    request = f"POST /api/v1/sign-in HTTP/1.1\r\nHost: localhost\r\n{lengths}Connection: close\r\n\r\n{body}"
    assert raw(port, request.encode()).startswith(b"HTTP/1.1 400 ")


def test_too_many_headers_are_refused(served, port):
    headers = "".join(f"X-Header-{number}: 1\r\n" for number in range(200))
    request = f"GET /healthz HTTP/1.1\r\nHost: localhost\r\n{headers}Connection: close\r\n\r\n"
    assert raw(port, request.encode()).startswith(b"HTTP/1.1 431 ")


def test_no_query_string_is_logged(http, served):
    http.get("/healthz", params={"name": "canary-of-a-query"})
    http.get("/api/v1/nothing-here", params={"name": "canary-of-a-query"})
    assert "canary-of-a-query" not in served.told()


def test_no_token_in_an_address_is_logged(http, served):
    assert http.get("/api/v1/calendar/fbrcal_canary-of-a-token.ics").status_code == 404
    assert http.get("/api/v1/calendar/canary-of-a-token.ics").status_code == 404
    wait_until(lambda: "api/v1/calendar/..." in served.told(), "logged", 10, served)
    assert "canary-of-a-token" not in served.told()


@pytest.mark.parametrize(
    "request_text",
    [
        "GET /quillwort?quillwort HTTP/9.9\r\n\r\n",
        "QUILL\x01WORT quillwort\r\n\r\n",
        "GET /healthz HTTP/1.1\r\nHost: localhost\r\nquill wort: quillwort\r\n\r\n",
        "GET /healthz HTTP/1.1\r\nHost: quillwort.example\r\nConnection: close\r\n\r\n",
        "GET /healthz HTTP/1.1\r\nHost: localhost\r\nUser-Agent: quillwort\r\nConnection: close\r\n\r\n",
        "POST /api/v1/sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Length: quillwort\r\n\r\n",
    ],
    ids=["version", "method", "name of a header", "host", "user agent", "length"],
)
def test_nothing_of_a_malformed_request_is_logged(served, port, request_text):
    raw(port, request_text.encode())
    assert "quillwort" not in served.told().lower()


def test_the_ticker_has_run(served):
    wait_until(lambda: '"tick_done"' in served.told(), "ticked", 10, served)


def test_every_line_of_the_log_is_one_event(served):
    lines = [line for line in served.told().splitlines() if line.startswith("{")]
    assert lines
    assert all(json.loads(line)["event"] for line in lines)


def test_told_to_stop_it_ends_well_within_ten_seconds_and_gives_its_lease_back(tmp_path):
    process = start(tmp_path, free_port())
    wait_until(lambda: '"tick_done"' in process.told(), "ticked", 10, process)
    assert process.stop(STOPS_WITHIN_S) == 0
    with closing(sqlite3.connect(tmp_path / "forbear.sqlite3")) as database:
        assert database.execute("SELECT count(*) FROM coaching_lease WHERE name = 'ticker'").fetchone() == (
            0,
        )
