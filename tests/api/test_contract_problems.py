"""The table of problem types against the code that names them, and the statuses of every operation."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from rest_framework import exceptions

from api.answers import RAISED, READS_IF_MATCH
from api.problem_types import PROBLEM_TYPES
from api.problems import TITLES
from coaching.errors import ForbearError
from tests.api.contract_story import operations_of, read_document

API = Path(__file__).parents[2] / "api"
# Calls that make a problem, and at which place its code stands.
MAKERS = {"Problem": 0, "problem_body": 0}
REFUSALS = {"parsers.py": 0, "middleware.py": 1}
ANSWERS = {"problems.py": ("_plain", 1)}
# How views read If-Match; the second of each stands for two addresses of one noun.
NEEDS_VERSION = ("self.expected_version()", "self.drop(")
MAY_NAME_VERSION = ("self.named_version()", "self.put_stress(")
# What the framework raises by itself on our settings; the rest of its exceptions are raised by nobody here.
OF_THE_FRAMEWORK = (
    exceptions.AuthenticationFailed,
    exceptions.NotAuthenticated,
    exceptions.PermissionDenied,
    exceptions.NotFound,
    exceptions.MethodNotAllowed,
    exceptions.NotAcceptable,
    exceptions.UnsupportedMediaType,
)
DOCUMENT = read_document()
OPERATIONS = {name: operation for name, _, _, operation in operations_of(DOCUMENT)}
PROBLEM = "application/problem+json"


def literal_codes() -> Iterator[str]:
    """Codes as they stand in calls; a call whose code is computed passes on one that stands elsewhere."""
    for path in sorted(API.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            place = MAKERS.get(node.func.id)
            if node.func.id == "_refuse":
                place = REFUSALS.get(path.name)
            if (node.func.id, 1) == ANSWERS.get(path.name):
                place = 1
            if place is not None and isinstance(node.args[place], ast.Constant):
                yield str(node.args[place].value)


def kinds_of(base: type[ForbearError]) -> Iterator[type[ForbearError]]:
    for kind in base.__subclasses__():
        yield kind
        yield from kinds_of(kind)


def test_every_code_that_code_can_raise_is_in_the_table_and_no_other():
    raised = set(literal_codes())
    raised |= {kind.code for kind in kinds_of(ForbearError) if "code" in vars(kind)}
    raised |= {kind.default_code for kind in OF_THE_FRAMEWORK}
    assert raised == set(PROBLEM_TYPES)


def test_every_status_of_the_table_has_a_title():
    assert {kind.status for kind in PROBLEM_TYPES.values()} <= set(TITLES)


def test_the_introduction_tells_every_code():
    told = DOCUMENT["info"]["description"]
    assert all(f"| `{code}` | {kind.status} |" in told for code, kind in PROBLEM_TYPES.items())


@pytest.mark.parametrize("code", PROBLEM_TYPES)
def test_the_type_of_a_problem_leads_to_what_it_means(client, code):
    kind = PROBLEM_TYPES[code]
    answer = client.get(kind.uri)
    assert answer.status_code == 200
    assert answer.json() == {
        "type": f"/problems/{code}",
        "title": TITLES[kind.status],
        "status": kind.status,
        "when": kind.when,
        "what_to_do": kind.remedy,
    }


def test_a_type_that_there_is_not_leads_to_404(client):
    answer = client.get("/problems/bad_luck")
    assert answer.status_code == 404
    assert answer["Content-Type"] == PROBLEM


def views_with_version() -> Iterator[tuple[str, bool]]:
    """Operations whose method reads If-Match, and whether it goes on without."""
    for path in sorted(API.glob("*.py")):
        source = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(source)):
            if not isinstance(node, ast.FunctionDef):
                continue
            text = "\n".join(ast.get_source_segment(source, each) or "" for each in node.body)
            named = [
                keyword.value.value
                for decorator in node.decorator_list
                if isinstance(decorator, ast.Call)
                for keyword in decorator.keywords
                if keyword.arg == "operation_id" and isinstance(keyword.value, ast.Constant)
            ]
            is_needed = any(call in text for call in NEEDS_VERSION)
            if named and (is_needed or any(call in text for call in MAY_NAME_VERSION)):
                yield str(named[0]), is_needed


def test_what_reads_if_match_is_known_to_the_document():
    assert dict(views_with_version()) == READS_IF_MATCH


def test_the_tables_name_operations_that_there_are():
    assert set(RAISED) | set(READS_IF_MATCH) <= set(OPERATIONS)


@pytest.mark.parametrize("name", OPERATIONS)
def test_a_refusal_says_how_to_go_on_in_its_headers(name):
    answers = OPERATIONS[name]["responses"]
    for status, header in (("401", "WWW-Authenticate"), ("429", "Retry-After"), ("503", "Retry-After")):
        if status in answers:
            assert answers[status]["headers"][header]["required"]


@pytest.mark.parametrize("name", OPERATIONS)
def test_every_problem_of_an_operation_has_the_status_of_its_answer(name):
    for status, answer in OPERATIONS[name]["responses"].items():
        if status >= "400":
            codes = answer["content"][PROBLEM]["examples"]
            assert codes
            assert {str(PROBLEM_TYPES[code].status) for code in codes} == {status}


@pytest.mark.parametrize("name", OPERATIONS)
def test_an_operation_is_called_by_its_noun_and_its_verb(name):
    nouns = [tag["name"] for tag in DOCUMENT["tags"]]
    assert re.fullmatch(r"[a-z]+(_[a-z]+)+", name)
    assert len(OPERATIONS[name]["tags"]) == 1
    assert OPERATIONS[name]["tags"][0] in nouns


def test_every_tag_is_used_and_described():
    used = {operation["tags"][0] for operation in OPERATIONS.values()}
    assert used == {tag["name"] for tag in DOCUMENT["tags"] if tag["description"]}


@pytest.mark.parametrize(("yours", "stored"), [(None, "Windy"), ("Calm", None), (None, None), (8, [{}])])
def test_a_difference_holds_any_value_null_as_well(yours, stored):
    schema = DOCUMENT["components"]["schemas"]["Difference"]
    Draft202012Validator(schema).validate({"pointer": "/note", "yours": yours, "stored": stored})
