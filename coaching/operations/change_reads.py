"""Reading the changes feed, with the reading on the audit trail."""

import uuid
from datetime import datetime

from coaching.models import Actor
from coaching.operations.audit import record_reads_of
from coaching.reads.changes import ChangesPage, changes_for


def read_changes(
    *, actor: Actor, client_uid: uuid.UUID | None, since: int, page_size: int, now: datetime
) -> ChangesPage:
    """A page of the feed; every client and kind on it counts as read. Raises NotFoundError, MarkError."""
    page = changes_for(actor, client_uid=client_uid, since=since, page_size=page_size, now=now)
    read = {(item.client.audit_key, item.change.kind) for item in page.items}
    record_reads_of(actor=actor, read=read, now=now)
    return page
