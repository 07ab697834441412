"""The guarded POST against a real server: what it sends, where it connects, and what it does not wait for."""

import socket
import ssl
import time
from concurrent.futures import ThreadPoolExecutor

import httpcore
import pytest

from coaching.exchange.guarded_post import TOTAL_WITHIN_S, Answer, post, public_roots
from coaching.exchange.public_addresses import Place, place_of
from tests.loopback import OK, answer, listening


@pytest.fixture
def peer(settings):
    with listening() as peer:
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin, f"http://hooks.example.org:{peer.port}"]
        yield peer


def send(peer, *, target="/in?a=1", **more):
    return post(place_of(peer.origin + target), headers={"X-Any": "1"}, body=b'{"a":1}', **more)


def test_the_body_arrives_as_it_was_given(peer):
    assert send(peer) == Answer(200, "")
    (heard,) = peer.heard
    assert (heard.line, heard.body) == ("POST /in?a=1 HTTP/1.1", b'{"a":1}')
    assert heard.fields == {"host": f"127.0.0.1:{peer.port}", "x-any": "1", "content-length": "7"}


def test_a_name_is_resolved_once_and_stays_in_host(peer):
    asked = []

    def resolve(host, port, within_s):
        asked.append((host, port))
        return ["127.0.0.1"] if len(asked) == 1 else ["127.0.0.2"]

    place = place_of(f"http://hooks.example.org:{peer.port}/")
    assert post(place, headers={}, body=b"{}", resolve=resolve).status_code == 200
    assert asked == [("hooks.example.org", peer.port)]
    assert peer.heard[0].fields["host"] == f"hooks.example.org:{peer.port}"


def test_tls_asks_for_the_name_and_not_for_the_address():
    with socket.create_server(("127.0.0.1", 0)) as server, ThreadPoolExecutor(1) as pool:
        hello = pool.submit(first_bytes, server)
        place = Place("https", "hooks.example.org", server.getsockname()[1], "/", is_for_tests=True)
        with pytest.raises(httpcore.ConnectError):
            post(place, headers={}, body=b"{}", resolve=lambda *_: ["127.0.0.1"])
        assert b"hooks.example.org" in hello.result()


def first_bytes(server):
    """What comes over the next connection, which is then closed."""
    with server.accept()[0] as connection:
        return connection.recv(4096)


def test_certificates_are_checked_against_the_name():
    roots = public_roots()
    assert roots.check_hostname
    assert roots.verify_mode == ssl.CERT_REQUIRED


def test_the_next_address_is_tried_where_the_first_refuses(peer):
    place = place_of(f"http://hooks.example.org:{peer.port}/")
    found = post(place, headers={}, body=b"{}", resolve=lambda *_: ["127.0.0.2", "127.0.0.1"])
    assert (found.status_code, peer.hits) == (200, 1)


def test_a_redirect_is_an_answer_and_not_followed(peer):
    peer.says(answer(302, f"Location: {peer.origin}/elsewhere"), OK)
    assert send(peer).status_code == 302
    assert peer.hits == 1


def test_the_environments_proxy_is_not_asked(peer, monkeypatch):
    with listening() as proxy:
        for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"):
            monkeypatch.setenv(name, proxy.origin)
        assert send(peer).status_code == 200
        assert proxy.hits == 0


def test_ten_megabytes_are_not_read(peer):
    peer.says(answer(200, body=b"x" * 10_000_000))
    started_s = time.monotonic()
    assert send(peer).status_code == 200
    assert time.monotonic() - started_s < 2


def test_a_busy_server_says_when(peer):
    peer.says(answer(503, "Retry-After: 120"))
    assert send(peer) == Answer(503, "120")


def test_a_server_that_hangs_is_given_up(peer):
    peer.hangs = True
    started_s = time.monotonic()
    with pytest.raises(httpcore.TimeoutException):
        send(peer, total_within_s=0.3)
    assert time.monotonic() - started_s < 1


def test_a_server_that_drips_is_given_up_as_well(peer):
    peer.pause_s = 0.1
    started_s = time.monotonic()
    with pytest.raises(httpcore.TimeoutException):
        send(peer, total_within_s=0.5)
    assert time.monotonic() - started_s < 1.5


def test_five_seconds_are_all_that_a_call_may_take():
    assert TOTAL_WITHIN_S == 5


@pytest.mark.parametrize(
    "content",
    [b"", b"HTTP/1.1 200", b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nonly this", b"\x00\xff\r\n\r\n"],
)
def test_an_answer_that_breaks_off_is_none(peer, content):
    peer.says(content)
    with pytest.raises((httpcore.ProtocolError, httpcore.NetworkError)):
        send(peer)


def test_a_server_that_is_not_there_is_no_connection(settings):
    with listening() as peer:
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin]
    with pytest.raises(httpcore.ConnectError):
        send(peer)
