"""Service tokens on every address, held against services.yaml: with the scope, without it, for whom."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
import yaml
from django.utils import timezone

from api.service_scopes import SCOPE_OF
from coaching.models import Membership, Role, ServiceScope, ServiceToken
from tests.api.every_route import service_token
from tests.security.calls import CALLS, named
from tests.security.people import OBJECTS, People
from tests.security.test_matrix import ROWS as ROWS_OF_PEOPLE
from tests.security.test_matrix import SLOW_TO_MAKE, faults, objects_of, people

__all__ = ["people"]

TABLE = Path(__file__).with_name("services.yaml")
ROWS: dict[str, list[str]] = {key: words.split() for key, words in yaml.safe_load(TABLE.read_text()).items()}
WHOLE, COACHS = "service for the whole practice", "service for the coach's clients"
COLUMNS = {WHOLE: 1, COACHS: 2}


def lacking(scope: str) -> str:
    return f"service without {scope}"


@dataclass(frozen=True)
class Cell:
    key: str
    role: str
    object: str

    @property
    def expected(self) -> str:
        if self.key in ROWS and self.role in COLUMNS:
            word = ROWS[self.key][COLUMNS[self.role]]
            return word if len(word) == 1 else word[OBJECTS.index(self.object)]
        for_nobody = ROWS_OF_PEOPLE[self.key][0]
        return "f" if for_nobody == "x" else for_nobody

    @property
    def is_slow(self) -> bool:
        return self.expected == "." and any(word in self.key for word in SLOW_TO_MAKE)


@pytest.fixture
def services(people: People) -> People:
    """The people of the matrix, and the tokens of programs besides."""
    owner = Membership.objects.get(practice=people.coach.practice, role=Role.OWNER)
    tokens = {
        WHOLE: service_token(owner, list(ServiceScope)),
        COACHS: service_token(owner, list(ServiceScope), coach_uids=(people.coach.uid,)),
    }
    for scope in ServiceScope:
        tokens[lacking(scope)] = service_token(owner, [each for each in ServiceScope if each != scope])
    ServiceToken.objects.update(last_used_at=timezone.now())
    return replace(
        people, tokens=people.tokens | {role: f"Bearer {token}" for role, (_, token) in tokens.items()}
    )


def opened() -> Iterator[Cell]:
    """Every row for both kinds of token with every id; of what is slow to make one."""
    for key in ROWS:
        made = 0
        for role in COLUMNS:
            for which in objects_of(key) if key in ROWS_OF_PEOPLE else OBJECTS:
                cell = Cell(key, role, which)
                made += cell.is_slow
                if not cell.is_slow or made == 1:
                    yield cell


def test_the_table_names_what_each_scope_opens():
    opens = {(f"{method.upper()} {named(route)}", scope.value) for (method, route), scope in SCOPE_OF.items()}
    assert {(key.partition(" | ")[0], words[0]) for key, words in ROWS.items()} == opens
    assert {len(words) for words in ROWS.values()} == {1 + len(COLUMNS)}


def test_every_call_of_the_matrix_by_another_place_has_a_row_here_too():
    of_services = {key.partition(" | ")[0] for key in ROWS}
    missing = [key for key in ROWS_OF_PEOPLE if key.partition(" | ")[0] in of_services and key not in ROWS]
    assert missing == []
    assert {key for key in ROWS if key not in ROWS_OF_PEOPLE and key not in CALLS} == set()


def test_with_its_scope_each_call_answers_as_the_table_says(services):
    assert list(faults(services, opened())) == []


def test_without_its_scope_each_call_is_refused(services):
    cells = (Cell(key, lacking(words[0]), "coachs") for key, words in ROWS.items())
    assert list(faults(services, cells)) == []


def test_what_no_scope_opens_is_refused_to_all(services):
    rest = [key for key in ROWS_OF_PEOPLE if key not in ROWS]
    assert list(faults(services, (Cell(key, WHOLE, "coachs") for key in rest))) == []
