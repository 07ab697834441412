"""RFC 9110, section 13, for reads: who holds the current answer already is told so, and gets no body."""

import hashlib

from django.utils.http import parse_etags
from rest_framework.request import Request

READS = ("GET", "HEAD")


def is_known(request: Request, tag: str) -> bool:
    """Whether If-None-Match names `tag`, by the weak comparison of 8.8.3.2; `*` names every one."""
    named = parse_etags(request.headers.get("If-None-Match", ""))
    return named == ["*"] or is_named_weakly(tag, named)


def is_as_expected(request: Request, tag: str) -> bool:
    """Whether If-Match, where it is sent, names `tag`, by the strong comparison: a weak tag never does."""
    if "If-Match" not in request.headers:
        return True
    named = parse_etags(request.headers["If-Match"])
    return named == ["*"] or is_named_strongly(tag, named)


def is_named_weakly(tag: str, named: list[str]) -> bool:
    return tag.removeprefix("W/") in {each.removeprefix("W/") for each in named}


def is_named_strongly(tag: str, named: list[str]) -> bool:
    return not tag.startswith("W/") and tag in named


def tag_of_body(body: bytes) -> str:
    """The tag of an answer without a version of its own; weak, since only its bytes are compared."""
    return f'W/"{hashlib.sha256(body).hexdigest()[:32]}"'
