"""ETags: the version that an edit names, and a digest of what is shown, so that derived things count too."""

import hashlib
import json
import re
from dataclasses import dataclass
from typing import Any

DIGITS_OF_DIGEST = 16
TAG = re.compile(rf'(?:W/)?"?(\d{{1,9}})(?:-[0-9a-f]{{{DIGITS_OF_DIGEST}}})?"?', re.ASCII)


@dataclass(frozen=True, slots=True)
class Shown:
    """A record as its own address shows it to the caller; None is the version of what is never edited."""

    version: int | None
    body: Any


def tag_of(version: int, body: Any) -> str:
    text = json.dumps(body, sort_keys=True, default=str)
    return f'"{version}-{hashlib.sha256(text.encode()).hexdigest()[:DIGITS_OF_DIGEST]}"'


def version_in(tag: str) -> int:
    """The version that one tag names, weak or not; a made-up one names none that there is.

    The digest is not looked at: what was only derived since hinders no edit.
    """
    found = TAG.fullmatch(tag)
    return int(found[1]) if found else -1
