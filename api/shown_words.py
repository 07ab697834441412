"""Who of a list is meant, as a short word: one bit each, so that a tag can say of whom its answer was.

A sheet shows some of a coach's clients, and whoever is told that it has not changed has read of these again.
"""

import uuid
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Collection, Sequence


def word_of(meant: Collection[uuid.UUID], listed: Sequence[uuid.UUID]) -> str:
    bits = sum(1 << place for place, uid in enumerate(listed) if uid in meant)
    return urlsafe_b64encode(bits.to_bytes((len(listed) + 7) // 8, "little")).decode().rstrip("=")


def named_in(word: str, listed: Sequence[uuid.UUID]) -> set[uuid.UUID]:
    """Those of `listed` that `word_of` meant; the word has been found to be of this very list."""
    bits = int.from_bytes(urlsafe_b64decode(word + "=" * (-len(word) % 4)), "little")
    return {uid for place, uid in enumerate(listed) if bits >> place & 1}
