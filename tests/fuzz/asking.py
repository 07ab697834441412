"""Cases for an operation of the document: a call that is answered, whose ids exist, with something changed.

Routes come from the document, calls and people from the authorization matrix, which must have a row for
every route; a new one is taken up by itself.
"""

import copy
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qsl

from coaching.models import Assignment, Client, Consent, Injury, Membership, Prescription, Webhook
from coaching.nightly import night_by_hand, run_night
from tests.api.rows_of_routes import Place, add_rows
from tests.factories import NOW
from tests.fuzz.wounds import wounded
from tests.security.calls import CALLS, Asked, Call
from tests.security.people import OBJECTS, ROLES, TODAY, People, home_of, make_people

# Who asks; further kinds of coaches and clients are the matrix's affair.
STRANGER = "far_coach"
BESIDES = ("colleague", "sibling", "far_owner")
ASKERS = (*(role for role in ROLES if role not in BESIDES), "anonymous")
# A drawn text is no cursor, and a drawn day is far from all that was logged.
DAYS = ("2026-01-05", "2026-02-23", str(TODAY), "2026-03-29")
ENTITY_TAG = {"If-None-Match": "*"}
VERSIONS = ('"7"', "*", '"1", "2"', "1", 'W/"1-3b"', '"-1"', f'"{9 * 10**30}"')


@dataclass(frozen=True)
class Known:
    """The furnished practices, and the marks and cursors that they have given out."""

    people: People
    given: dict[str, list[str]]

    def value(self, name: str, chance: random.Random) -> str | None:
        if name in ("from", "until", "on"):
            return chance.choice(DAYS)
        if name in self.given:
            return chance.choice(self.given[name])
        folder = vars(self.people.folders[chance.choice(OBJECTS)])
        found = folder.get(name.removesuffix("_id"))
        return None if found is None else str(found)


def furnished() -> Known:
    """Two practices with a row of every kind, and weeks of a client's training, scored by a night."""
    people = make_people()
    client = Client.objects.get(id=people.client.id)
    coach = Membership.objects.get(id=people.coach.id)
    place = Place(
        SimpleNamespace(client=client, coach=coach),
        Prescription.objects.get(uid=people.folders["coachs"].prescription).exercise,
        Assignment.objects.filter(client=client).latest("id"),
        Consent.objects.get(client=client, purpose="referral"),
        Injury.objects.filter(client=client).latest("id"),
        people.folders["coachs"].token,
        Webhook.objects.get(uid=people.folders["coachs"].webhook),
    )
    api = people.api("coach")
    add_rows(place, api, 1, 3)
    run_night(night=night_by_hand(practice=client.practice, night_on=TODAY, now=NOW), now=NOW)
    cursor = api.get("/api/v1/exercises?page_size=2").json()["next"]
    mark = api.get("/api/v1/changes?page_size=2").json()["mark"]
    later = str(TODAY + timedelta(days=1))
    return Known(people, {"cursor": re.findall(r"cursor=([^&]+)", cursor), "since": [mark, later]})


def calls_of(method: str, path: str) -> list[Call]:
    """The matrix's calls of an operation, the plain one first."""
    name = f"{method} {re.sub(r'_id}', '}', path.removeprefix('/api/v1/').removeprefix('/'))}"
    others = [call for key, call in CALLS.items() if key.startswith(f"{name} | ")]
    return [CALLS.get(name, Call()), *others]


@dataclass(frozen=True)
class Sent:
    """What is to be asked, as whom, and whether a stranger asks for a row of the first practice."""

    role: str
    headers: dict[str, str]
    is_crossing: bool


def prepared(case: Any, from_schema: Any, known: Known, role: str, chance: random.Random) -> Sent:
    """Turn the case into a call that is answered, and then change something of it."""
    which = home_of(role) if chance.random() < 0.7 else chance.choice(OBJECTS)
    if role == STRANGER and chance.random() < 0.7:
        which = "coachs"
    asked = Asked(known.people, role, known.people.folders[which])
    calls = calls_of(case.method, case.path)
    call = calls[0] if chance.random() < 0.6 else chance.choice(calls)
    drawn = ({}, None) if from_schema is None else (dict(from_schema.query or {}), from_schema.body)
    as_called(case, call, asked)
    headers = {"If-Match": '"1"'} if call.version else {}
    change: Callable[[], Any] = chance.choice(CHANGES)
    change(case, drawn, headers, known, chance)
    token = known.people.tokens[role]
    if token is not None:
        headers["Authorization"] = token
    ours = {uid for uid in known.people.folders["coachs"].ids() if "-" in uid}
    named = {str(value) for value in case.path_parameters.values()}
    return Sent(role, headers, role == STRANGER and bool(named & ours))


def as_called(case: Any, call: Call, asked: Asked) -> None:
    """The call of the matrix, in the shape of a case."""
    parts = vars(asked.folder) | call.path(asked)
    for name in re.findall(r"{(\w+)}", case.path):
        case.path_parameters[name] = str(parts[name.removesuffix("_id")])
    case.query = dict(parse_qsl(str(call.query(asked)).removeprefix("?")))
    body = call.body(asked)
    if body is not None:
        case.body = copy.deepcopy(body)


Headers = dict[str, str]
Drawn = tuple[dict[str, Any], Any]


def nothing(case: Any, drawn: Drawn, headers: Headers, known: Known, chance: random.Random) -> None:
    """As it stands."""


def as_drawn(case: Any, drawn: Drawn, headers: Headers, known: Known, chance: random.Random) -> None:
    """Some fields and parameters as the schema lets them be, with ids and days that are meant."""
    query, body = drawn
    for name, value in query.items():
        if chance.random() < 0.5:
            case.query[name] = known.value(name, chance) or value
    if isinstance(body, dict) and isinstance(case.body, dict):
        for name in sorted(body):
            if chance.random() < 0.3:
                case.body[name] = known.value(name, chance) or body[name]


def whole_as_drawn(case: Any, drawn: Drawn, headers: Headers, known: Known, chance: random.Random) -> None:
    """The whole body as the schema lets it be; some of the parameters where there is none."""
    if drawn[1] is None or not isinstance(case.body, dict):
        as_drawn(case, drawn, headers, known, chance)
    else:
        case.body = drawn[1]


def with_a_wound(case: Any, drawn: Drawn, headers: Headers, known: Known, chance: random.Random) -> None:
    """A value that no schema lets through, a key too many or one that is missing."""
    if isinstance(case.body, (dict, str)):
        case.body = wounded(case.body, chance)
    elif case.query:
        name = chance.choice(sorted(case.query))
        case.query[name] = chance.choice(["", "-1", "9" * 40, "\x00", "[]", "2026-02-30", "x" * 300])
    else:
        case.query = {chance.choice(["page_size", "cursor", "fields", "order", "nothing"]): "\u0661 or 1=1"}


def with_other_ids(case: Any, drawn: Drawn, headers: Headers, known: Known, chance: random.Random) -> None:
    """One id of the address as somebody else's, gone or made up."""
    if case.path_parameters:
        name = chance.choice(sorted(case.path_parameters))
        case.path_parameters[name] = known.value(name, chance) or case.path_parameters[name]


def with_other_headers(
    case: Any, drawn: Drawn, headers: Headers, known: Known, chance: random.Random
) -> None:
    """Another version, none, or what the asker says to have already."""
    if case.method == "GET":
        headers.update(ENTITY_TAG)
    elif headers and chance.random() < 0.5:
        del headers["If-Match"]
    else:
        headers["If-Match"] = chance.choice(
            ['"7"', "*", '"1", "2"', "1", 'W/"1-3b"', '"-1"', f'"{9 * 10**30}"']
        )


CHANGES: tuple[Any, ...] = (
    *(nothing, nothing, as_drawn, as_drawn),
    *(whole_as_drawn, with_a_wound, with_other_ids, with_other_headers),
)
