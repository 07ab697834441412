"""Every example of the API document is sent to the service, and every answer is what the document shows."""

import json
import os
import re
from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from django.db import transaction
from jsonschema import Draft202012Validator, FormatChecker
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.examples import EXAMPLES, FOLDER
from coaching.exchange import public_addresses
from tests.api.contract_story import NOW, Stage, operations_of, read_document, told, translated

# The database is there only where a test asks for it.
pytestmark = pytest.mark.django_db
DOCUMENT = read_document()
OPERATIONS = {name: operation for name, _, _, operation in operations_of(DOCUMENT)}
# Bytes have no example that could be read in a document.
SHOWN_NOWHERE = ("image/png", "application/pdf", "application/zip")
SECRETS = {
    "token": "shown-only-once",
    "url": "https://forbear.example/api/v1/calendar/fbrcal_shown-only-once.ics",
    "device_proof": "kept-by-this-device",
    "secret": "shown-only-once",
    "recovery_codes": ["shown-only-once"],
}
LONGEST_LIST = 2
LONGEST_TEXT = 400


def shown_answers() -> list[tuple[str, int]]:
    return [
        (name, int(status))
        for name, operation in OPERATIONS.items()
        for status in operation["responses"]
        if status < "300"
    ]


def is_shown(answer: dict[str, Any]) -> bool:
    return any(media_type not in SHOWN_NOWHERE for media_type in answer.get("content", {}))


def faults(value: Any, schema: dict[str, Any]) -> list[str]:
    whole = {"components": DOCUMENT["components"], **schema}
    checker = Draft202012Validator(whole, format_checker=FormatChecker())
    return [f"{error.json_path}: {error.message[:200]}" for error in checker.iter_errors(value)]


def shape(value: Any) -> Any:
    """The keys of a value, at every depth; items of an array are laid over one another."""
    if isinstance(value, dict):
        return {key: shape(each) for key, each in value.items()}
    if isinstance(value, list):
        return [laid_over([shape(each) for each in value])]
    return None


def is_alike(one: Any, other: Any) -> bool:
    """The same keys wherever both have any: null and an empty array have none."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(is_alike(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return is_alike(one[0], other[0])
    return True


def laid_over(shapes: list[Any]) -> Any:
    known = [each for each in shapes if each is not None]
    if not known:
        return None
    if isinstance(known[0], list):
        return [laid_over([item for each in known for item in each])]
    keys = {key for each in known for key in each}
    return {key: laid_over([each.get(key) for each in known]) for key in sorted(keys)}


def shortened(value: Any) -> Any:
    """Long arrays of objects and long texts cut to their beginning, so that a person reads to the end."""
    if isinstance(value, dict):
        return {key: SECRETS[key] if key in SECRETS else shortened(each) for key, each in value.items()}
    if isinstance(value, list):
        is_long = len(value) > LONGEST_LIST and isinstance(value[0], dict)
        return [shortened(each) for each in (value[:LONGEST_LIST] if is_long else value)]
    if isinstance(value, str):
        value = value.replace("http://testserver", "https://forbear.example")
        value = re.sub(r"^(otpauth:.*secret=)\w+", r"\1SHOWNONLYONCE", value)
    return f"{value[:LONGEST_TEXT]} ..." if isinstance(value, str) and len(value) > LONGEST_TEXT else value


def write_examples(stage: Stage) -> None:
    names = {real: shown for shown, real in stage.real.items()}
    for path in FOLDER.glob("*.json"):
        examples = json.loads(path.read_text(encoding="utf-8"))
        for name, example in examples.items():
            example["answers"] = {
                str(status): shortened(translated(stage.played[name, status].body, names))
                for shown, status in shown_answers()
                if shown == name and is_shown(OPERATIONS[name]["responses"][str(status)])
            }
        path.write_text(json.dumps(examples, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def stage(django_db_setup: None, django_db_blocker: Any) -> Iterator[Stage]:
    """The story as told; a webhook's name is looked up nowhere."""
    with (
        django_db_blocker.unblock(),
        time_machine.travel(NOW, tick=False),
        pytest.MonkeyPatch.context() as patch,
        transaction.atomic(),
    ):
        patch.setattr(public_addresses, "resolve_name", lambda host, port, within_s: ["93.184.215.14"])
        found = told()
        if os.environ.get("FORBEAR_WRITE_EXAMPLES"):
            write_examples(found)
        yield found
        transaction.set_rollback(True)


def test_every_operation_is_played_to_each_of_its_successes(stage):
    assert set(stage.played) == set(shown_answers())


@pytest.mark.parametrize("name", OPERATIONS)
def test_an_operation_shows_what_it_is_asked_and_what_it_answers(name):
    operation = OPERATIONS[name]
    assert name in EXAMPLES
    assert ("requestBody" in operation) == (EXAMPLES[name]["request"] is not None)
    for status, answer in operation["responses"].items():
        if status < "300":
            assert (status in EXAMPLES[name]["answers"]) == is_shown(answer)


def test_no_example_is_of_an_operation_that_is_not_there():
    assert set(EXAMPLES) == set(OPERATIONS)


@pytest.mark.parametrize("name", OPERATIONS)
def test_the_document_holds_the_examples_and_they_fit_its_schemas(name):
    operation = OPERATIONS[name]
    for body in operation.get("requestBody", {}).get("content", {}).values():
        assert body["example"] == EXAMPLES[name]["request"]
        assert faults(body["example"], body["schema"]) == []
    for status, shown in EXAMPLES[name]["answers"].items():
        for media_type, body in operation["responses"][status]["content"].items():
            if media_type != "application/problem+json":
                assert body["example"] == shown
                assert faults(shown, body["schema"]) == []
    for parameter in operation.get("parameters", ()):
        if "example" in parameter:
            assert faults(parameter["example"], parameter["schema"]) == []
        else:
            assert not parameter.get("required")


@pytest.mark.parametrize(("name", "status"), shown_answers())
def test_the_real_answer_fits_the_schema_and_has_the_keys_of_the_example(stage, name, status):
    answer = OPERATIONS[name]["responses"][str(status)]
    played = stage.played[name, status]
    assert played.content_type in answer.get("content", {"": None})
    if is_shown(answer):
        schema = answer["content"][played.content_type]["schema"]
        assert faults(played.body, schema) == []
        shown = shape(EXAMPLES[name]["answers"][str(status)])
        came = shape(shortened(played.body))
        assert is_alike(came, shown), (came, shown)


def test_the_document_is_valid_openapi_3_1():
    OpenAPIV31SpecValidator(DOCUMENT).validate()
