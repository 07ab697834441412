"""JSON as strict as the records it becomes: no doubled keys, no NaN, no NUL, bounded in every direction."""

import json
import re
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import IO, Any, NoReturn

from rest_framework.parsers import BaseParser

from api.problems import Problem

MAX_BODY_BYTES = 2 * 1024 * 1024
MAX_DEPTH = 20
MAX_KEYS = 64
MAX_ITEMS = 1000
MAX_STRING = 10_000
MAX_NUMBER_DIGITS = 40
MAX_EXPONENT = 30
# A string to its end, or to the end of the text where it has none.
STRING_OR_BRACKET = re.compile(r'"[^"\\]*+(?:\\.[^"\\]*+)*+(?:"|\\?\Z)|[\[{\]}]', re.DOTALL)
OPENS, CLOSES = ("[", "{"), ("]", "}")
HALF_A_CHARACTER = re.compile("[\ud800-\udfff]")


def whole_body(stream: IO[Any], parser_context: Mapping[str, Any] | None) -> bytes:
    """The bytes of a body as they were sent: not packed, and not too many."""
    request = (parser_context or {})["request"]
    if request.META.get("HTTP_CONTENT_ENCODING", "identity") != "identity":
        raise Problem("encoding_not_accepted", 415, "Send the body without a content encoding.")
    body: bytes = stream.read(MAX_BODY_BYTES + 1)
    if len(body) > MAX_BODY_BYTES:
        raise Problem("too_large", 413, f"A body holds at most {MAX_BODY_BYTES} bytes.")
    return body


class StrictJSONParser(BaseParser):
    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        return parse_json(whole_body(stream, parser_context))


class MergePatchParser(StrictJSONParser):
    media_type = "application/merge-patch+json"


def parse_json(body: bytes) -> Any:
    """The value of a JSON text; a `Problem` (400) names what is wrong with it."""
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError:
        _refuse("not_utf8", "The body must be UTF-8.")
    _check_depth(text)
    try:
        value = json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=lambda word: _refuse("not_a_number", f"{word} is not a JSON number."),
            parse_int=_integer,
            parse_float=_decimal,
        )
    except (ValueError, RecursionError):
        _refuse("not_json", "The body is not valid JSON.")
    _check_strings_and_arrays(value)
    return value


def _refuse(code: str, detail: str) -> NoReturn:
    raise Problem(code, 400, detail)


def _check_depth(text: str) -> None:
    """Count brackets outside strings before parsing, so that deep nesting costs no recursion."""
    depth = 0
    for found in STRING_OR_BRACKET.finditer(text):
        if found[0] in OPENS:
            depth += 1
            if depth > MAX_DEPTH:
                _refuse("too_deep", f"Nesting goes at most {MAX_DEPTH} deep.")
        elif found[0] in CLOSES:
            depth -= 1


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > MAX_KEYS:
        _refuse("too_many_keys", f"An object has at most {MAX_KEYS} keys.")
    found = dict(pairs)
    if len(found) != len(pairs):
        _refuse("duplicate_key", "A key stands twice in one object.")
    return found


def _integer(digits: str) -> int:
    if len(digits) > MAX_NUMBER_DIGITS:
        _refuse("number_too_long", f"A number has at most {MAX_NUMBER_DIGITS} digits.")
    return int(digits)


def _decimal(digits: str) -> Decimal:
    if len(digits) > MAX_NUMBER_DIGITS:
        _refuse("number_too_long", f"A number has at most {MAX_NUMBER_DIGITS} digits.")
    try:
        number = Decimal(digits)
    except InvalidOperation:
        _refuse("not_a_number", "A number cannot be read.")
    if number and abs(number.adjusted()) > MAX_EXPONENT:
        _refuse("number_out_of_range", "A number is out of range.")
    return number


def _check_strings_and_arrays(value: Any) -> None:
    """Walk the value without recursion; keys count as strings too."""
    waiting = [value]
    while waiting:
        item = waiting.pop()
        if isinstance(item, str):
            _check_string(item)
        elif isinstance(item, dict):
            waiting.extend(item.keys())
            waiting.extend(item.values())
        elif isinstance(item, list):
            if len(item) > MAX_ITEMS:
                _refuse("too_many_items", f"An array has at most {MAX_ITEMS} items.")
            waiting.extend(item)


def _check_string(text: str) -> None:
    if len(text) > MAX_STRING:
        _refuse("string_too_long", f"A string has at most {MAX_STRING} characters.")
    if "\x00" in text:
        _refuse("nul", "A string holds a NUL character.")
    if not text.isascii() and HALF_A_CHARACTER.search(text):
        _refuse("lone_surrogate", "A string holds half a character.")
