"""Which code answers: what is shown follows from rows and from the code, and a tag must tell of both."""

import hashlib
import sys
from functools import cache
from importlib.metadata import version
from pathlib import Path

CODE = Path(__file__).resolve().parent.parent
OURS = ("api", "coaching")
# What writes the numbers, texts and instants of an answer.
LIBRARIES = ("django", "djangorestframework", "numpy", "tzdata")


@cache
def code_version() -> str:
    """A digest of our own sources and of the versions of what they rest on, made once in a process."""
    digest = hashlib.sha256(sys.version.encode())
    for name in LIBRARIES:
        digest.update(f"{name} {_version(name)}".encode())
    for path in sorted(path for part in OURS for path in (CODE / part).rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _version(name: str) -> str:
    try:
        return version(name)
    except ModuleNotFoundError:
        return "none"
