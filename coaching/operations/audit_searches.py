"""An operator's search of the trail, which is on the trail itself."""

import uuid
from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from coaching.errors import InvalidError, NotFoundError
from coaching.models import Client, Practice
from coaching.operations.audit import record_change
from coaching.reads.audit_search import TrailSearch


@transaction.atomic
def note_search(*, search: TrailSearch, now: datetime) -> None:
    """Put the search on the trail of the client, or of every practice it looks into.

    Raises NotFoundError for a client who is not there, InvalidError for days in the wrong order.
    """
    if search.from_on is not None and search.until_on is not None and search.until_on < search.from_on:
        raise InvalidError.at("until", "before_start", "It ends before it starts.")
    for practice_id, subject_key in _looked_into(search):
        record_change(
            actor=None,
            practice_id=practice_id,
            subject_key=subject_key,
            action="search",
            record_kind="audit",
            record_id="",
            now=now,
            detail={"account": str(search.account_id)} if search.account_id else None,
        )


def _looked_into(search: TrailSearch) -> Sequence[tuple[int, uuid.UUID | None]]:
    if search.client_uid is None:
        return [(practice_id, None) for practice_id in Practice.objects.values_list("id", flat=True)]
    found = list(Client.objects.filter(uid=search.client_uid).values_list("practice_id", "audit_key"))
    if not found:
        raise NotFoundError("There is no such client.")
    return found
