"""How far a command is, told on the error stream once it takes longer than a person likes to wait."""

import time
from collections.abc import Callable

from django.core.management.base import OutputWrapper

QUIET_S = 2.0


def progress(stream: OutputWrapper) -> Callable[[str], None]:
    """A teller that leaves out whatever comes within two seconds of the beginning or of its last line."""
    told_at = time.monotonic()

    def tell(words: str) -> None:
        nonlocal told_at
        if time.monotonic() - told_at >= QUIET_S:
            told_at = time.monotonic()
            stream.write(words, style_func=str)
            stream.flush()

    return tell
