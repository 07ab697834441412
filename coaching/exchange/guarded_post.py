"""One POST to a place that somebody else named: to the very address that was checked, and bounded."""

import ssl
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import httpcore

from coaching.exchange.public_addresses import Place, Resolve, addresses_of

CONNECT_WITHIN_S = 3.0
TOTAL_WITHIN_S = 5.0
READ_AT_MOST = 64 * 1024


@dataclass(frozen=True, slots=True)
class Answer:
    """What is kept of an answer: never its body."""

    status_code: int
    retry_after: str


def post(
    place: Place,
    *,
    headers: Mapping[bytes | str, bytes | str],
    body: bytes,
    resolve: Resolve | None = None,
    tls: ssl.SSLContext | None = None,
    total_within_s: float = TOTAL_WITHIN_S,
) -> Answer:
    """Send `body`; follows no redirect, asks no proxy. Raises RefusedAddressError and httpcore's errors.

    An answer that breaks off is none: whoever sends again sends the same.
    """
    until_s = time.monotonic() + total_within_s
    url = httpcore.URL(scheme=place.scheme, host=place.host, port=place.port, target=place.target)
    pool = httpcore.ConnectionPool(
        ssl_context=tls or public_roots(),
        max_connections=1,
        network_backend=_Checked(place, until_s, resolve),
    )
    with pool, pool.stream("POST", url, headers=headers, content=body) as response:
        read = 0
        for chunk in response.iter_stream():
            read += len(chunk)
            if read >= READ_AT_MOST:
                break
        fields = {name.lower(): value.decode("latin-1") for name, value in response.headers}
        return Answer(response.status, fields.get(b"retry-after", ""))


@cache
def public_roots() -> ssl.SSLContext:
    """The certificate authorities of the public internet; the environment has no say."""
    import httpx  # late: most processes post nothing

    return httpx.create_ssl_context(trust_env=False)


class _Checked(httpcore.NetworkBackend):
    """Resolves the name once, and connects to what it found there if all of it is public."""

    def __init__(self, place: Place, until_s: float, resolve: Resolve | None) -> None:
        self._place = place
        self._until_s = until_s
        self._resolve = resolve
        self._backend = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.NetworkStream:
        until_s = min(self._until_s, time.monotonic() + CONNECT_WITHIN_S)
        addresses = addresses_of(self._place, within_s=_left(until_s), resolve=self._resolve)
        refused: Exception = httpcore.ConnectTimeout()
        for address in addresses:
            try:
                stream = self._backend.connect_tcp(address, port, timeout=_left(until_s))
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                refused = error
                continue
            return _Bounded(stream, self._until_s)
        raise refused


class _Bounded(httpcore.NetworkStream):
    """A stream that ends at one moment, however slowly the other side drips."""

    def __init__(self, stream: httpcore.NetworkStream, until_s: float) -> None:
        self._stream = stream
        self._until_s = until_s

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._stream.read(max_bytes, timeout=_left(self._until_s))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self._stream.write(buffer, timeout=_left(self._until_s))

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        stream = self._stream.start_tls(ssl_context, server_hostname, timeout=_left(self._until_s))
        return _Bounded(stream, self._until_s)

    def get_extra_info(self, info: str) -> Any:
        return self._stream.get_extra_info(info)

    def close(self) -> None:
        self._stream.close()


def _left(until_s: float) -> float:
    """The time that is left. Raises a TimeoutException if there is none: 0 would mean for ever."""
    left_s = until_s - time.monotonic()
    if left_s <= 0:
        raise httpcore.ReadTimeout("time is up")
    return left_s
