"""Which addresses the service may call: https, a name, and all that the name means is public."""

import ipaddress
import re
import socket
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.conf import settings

Resolve = Callable[[str, int, float], Sequence[str]]

PLAIN = re.compile(r"[!#$%&'()*+,\-./0-9:;=?@A-Z_a-z~\[\]]+", re.ASCII)  # no blank, no control, no backslash
LABEL = r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?"
NAME = re.compile(rf"(?:{LABEL}\.)+{LABEL}", re.ASCII)
NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*", re.ASCII)  # a last label like this is read as an address by many
MAX_LENGTH = 500
MAX_NAME_LENGTH = 253
RESOLVE_WITHIN_S = 3.0

GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")
NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
# Global for Python 3.11, yet no place of a public server: 6to4 relays, protocol anycast, documentation.
NOT_PUBLIC = [ipaddress.ip_network(text) for text in ("192.88.99.0/24", "192.0.0.0/24", "3fff::/20")]


class RefusedAddressError(Exception):
    """The service does not call this; `code` says why, `detail` says it to the owner."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(code)
        self.code = code
        self.detail = detail


@dataclass(frozen=True, slots=True)
class Place:
    """Where an address leads: the name that is resolved when it is called, and the rest of the request."""

    scheme: str
    host: str
    port: int
    target: str
    is_for_tests: bool


def place_of(address: str) -> Place:
    """Take an address apart as strictly as can be. Raises RefusedAddressError; resolves nothing."""
    if not PLAIN.fullmatch(address) or len(address) > MAX_LENGTH:
        raise RefusedAddressError("not_an_address", "Give an https address in plain ASCII; names as xn--.")
    try:
        parts = urlsplit(address)
        port, host = parts.port, parts.hostname or ""
    except ValueError:
        raise RefusedAddressError("not_an_address", "This is no https address.") from None
    if "@" in parts.netloc:
        raise RefusedAddressError("has_credentials", "Leave name and password out of the address.")
    if "#" in address:
        raise RefusedAddressError("has_fragment", "Leave out what follows the #.")
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    if f"{parts.scheme}://{parts.netloc}" in settings.WEBHOOK_TEST_ADDRESSES:
        return Place(parts.scheme, host, port or (443 if parts.scheme == "https" else 80), target, True)
    if parts.scheme != "https":
        raise RefusedAddressError("not_https", "Only https addresses are called.")
    if (port or 443) not in settings.WEBHOOK_PORTS or parts.netloc.endswith(":"):
        raise RefusedAddressError("port", "This port is not called; leave it out for 443.")
    _check_name(host)
    return Place("https", host, port or 443, target, False)


def _check_name(host: str) -> None:
    is_name = NAME.fullmatch(host) and len(host) <= MAX_NAME_LENGTH
    if not is_name or NUMBER.fullmatch(host.rpartition(".")[2]):
        raise RefusedAddressError("not_a_name", "Name a server by its full domain name, not by a number.")


def is_public(text: str) -> bool:
    """Whether a server for the public can be there, also behind an IPv4 address that IPv6 wraps."""
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return False
    if isinstance(address, ipaddress.IPv6Address):
        wrapped = address.ipv4_mapped or address.sixtofour
        if address in NAT64:
            wrapped = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        if wrapped is not None:
            return is_public(str(wrapped))
        if address not in GLOBAL_UNICAST:
            return False
    is_open = address.is_global and not (address.is_multicast or address.is_reserved)
    return is_open and not any(address in network for network in NOT_PUBLIC)


def resolve_name(host: str, port: int, within_s: float) -> Sequence[str]:
    """Every address of a name. Raises OSError; a resolver that takes too long is left behind."""
    found: list[str] = []
    failed: list[OSError] = []

    def look() -> None:
        try:
            rows = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
            found.extend(dict.fromkeys(str(row[4][0]) for row in rows))
        except (OSError, UnicodeError) as error:
            failed.append(OSError(str(error)))

    thread = threading.Thread(target=look, name="resolver", daemon=True)
    thread.start()
    thread.join(within_s)
    if failed or not found:
        raise failed[0] if failed else TimeoutError("resolver")
    return tuple(found)


def addresses_of(
    place: Place, *, within_s: float = RESOLVE_WITHIN_S, resolve: Resolve | None = None
) -> Sequence[str]:
    """What the name means now. Raises RefusedAddressError unless every one of its addresses is public."""
    try:
        addresses = (resolve or resolve_name)(place.host, place.port, within_s)
    except OSError:
        addresses = ()
    if not addresses:
        raise RefusedAddressError("does_not_resolve", "This name leads to no server at present.")
    if not place.is_for_tests and not all(is_public(address) for address in addresses):
        raise RefusedAddressError("not_public", "This name leads to an address that is not public.")
    return addresses


def check_callable(address: str, *, resolve: Resolve | None = None) -> None:
    """Refuse an address that could not be called now. Raises RefusedAddressError."""
    addresses_of(place_of(address), resolve=resolve)
