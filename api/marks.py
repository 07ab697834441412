"""Tags of answers that are not made to find out whether they have changed.

Such a tag is a keyed digest of a mark, which differs whenever anything differs that the answer is made from,
with whoever asks, what is asked, and the code that answers. It may carry a word of its own behind a dot.
"""

import re
from collections.abc import Sequence
from typing import Any

from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.http import parse_etags
from rest_framework.request import Request
from rest_framework.response import Response

from api.code_version import code_version
from coaching.models import Actor

DIGITS = 32
TAG = re.compile(rf'(?:W/)?"([0-9a-f]{{{DIGITS}}})(?:\.([A-Za-z0-9_-]{{1,4000}}))?"', re.ASCII)


class Mark:
    """What one answer is made from, as its tag tells it."""

    def __init__(self, request: Request, actor: Actor, parts: Sequence[Any] | None) -> None:
        """Without `parts` there is nothing short that can tell, and the endpoint makes a tag of the body."""
        self.request = request
        self.is_known = parts is not None
        said = (code_version(), request.build_absolute_uri(), actor.own_name, str(actor.role), parts)
        self._digest = salted_hmac("api.marks", repr(said), algorithm="sha256")

    def tag(self, word: str = "") -> str:
        """Weak, since it says nothing of bytes; keyed, so that nobody reads in it or makes one up."""
        digest = self._digest.copy()
        digest.update(word.encode())
        return f'W/"{digest.hexdigest()[:DIGITS]}{"." if word else ""}{word}"'

    def word_held(self) -> str | None:
        """The word of the tag that If-None-Match names; None where the answer has to be made.

        So it has to be for `*`, which knows no answer, and for If-Match, which is looked at first.
        """
        if not self.is_known or "If-Match" in self.request.headers:
            return None
        for named in parse_etags(self.request.headers.get("If-None-Match", "")):
            found = TAG.fullmatch(named)
            word = (found[2] or "") if found else ""
            if found and constant_time_compare(self.tag(word), f"W/{named.removeprefix('W/')}"):
                return word
        return None

    def unchanged(self, word: str) -> Response:
        return Response(status=304, headers={"ETag": self.tag(word)})

    def tagged(self, answer: Response, word: str = "") -> Response:
        if self.is_known:
            answer["ETag"] = self.tag(word)
        return answer
