"""Endpoints whose posts are counted by what became of them."""

from typing import Any

from django.http.response import HttpResponseBase

from api.endpoint import Endpoint
from coaching.post_counts import count_posts

WRITES = ("PUT", "POST", "PATCH")


def outcome_of(status_code: int, *, is_edit: bool = False) -> str:
    if status_code >= 500:
        return "failed"
    if status_code >= 400:
        return "refused_4xx"
    if is_edit:
        return "edited"
    return "stored" if status_code == 201 else "same_again"


class CountedPost(Endpoint):
    """`is_edit` is said by the view; a view of many posts at once says in `statuses` what became of each."""

    is_edit = False
    statuses: list[int] | None = None

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
        answer = super().dispatch(request, *args, **kwargs)
        if request.method in WRITES:
            is_whole = self.statuses is None or answer.status_code >= 400
            for status_code in [answer.status_code] if is_whole else self.statuses or []:
                count_posts(outcome_of(status_code, is_edit=self.is_edit))
        return answer
