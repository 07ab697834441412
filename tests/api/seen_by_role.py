"""Which keys each role finds in every body that may be read; run as a module, it writes the table anew."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rest_framework.test import APIClient

from coaching.models import ServiceScope
from tests.api.every_route import Filled, every_route, service_token

TABLE = Path(__file__).with_name("seen_by_role.txt")
PEOPLE = ("client", "coach", "owner", "service")
NO_KEYS = ("image/", "text/csv", "text/html", "application/pdf", "application/zip")


def table_of(cast: Any, signed_in: Any) -> str:
    """One paragraph for each address that answers a GET: who sees which keys, or which status."""
    filled = Filled(cast, signed_in)
    apis = {who: signed_in(getattr(cast, who)) for who in PEOPLE[:-1]}
    apis["service"] = APIClient()
    apis["service"].credentials(
        HTTP_AUTHORIZATION=f"Bearer {service_token(cast.owner, list(ServiceScope))[1]}"
    )
    lines = []
    for method, route in every_route():
        if method == "get":
            lines += ["", route, *_lines(filled, apis, route)]
    return "\n".join(lines).lstrip() + "\n"


def _lines(filled: Filled, apis: dict[str, APIClient], route: str) -> Iterator[str]:
    seen: dict[str, list[str]] = {}
    for who in PEOPLE:
        address = filled.read(route)
        if who == "service" and route.endswith("morning-sheet"):
            address += f"?coach={filled.cast.coach.uid}"
        seen.setdefault(_seen(apis[who].get(address)), []).append(who)
    for keys, who in seen.items():
        yield f"  {', '.join(who)}:"
        yield from (f"    {key}" for key in keys.splitlines())


def _seen(answer: Any) -> str:
    if answer.status_code != 200:
        return str(answer.status_code)
    if answer["Content-Type"].startswith(NO_KEYS):
        return answer["Content-Type"].partition(";")[0]
    return "\n".join(sorted(set(_keys(answer.json(), ""))))


def _keys(body: Any, before: str) -> Iterator[str]:
    if isinstance(body, dict):
        for key, value in body.items():
            yield before + key
            yield from _keys(value, f"{before}{key}.")
    elif isinstance(body, list):
        for each in body:
            yield from _keys(each, before)
