"""What the rows of a file point at beyond themselves: prescriptions, scheduled sessions, ids in use."""

import uuid
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from django.db.models import QuerySet

from coaching.models import Client, LoggedSet, Prescription, ScheduledSession
from coaching.operations.import_clients import Named
from coaching.operations.import_rows import RowProblem, SetRow

ASKED_AT_ONCE = 500


def uids_there(rows: QuerySet[Any], uids: Collection[uuid.UUID]) -> frozenset[uuid.UUID]:
    """Those of the ids that rows bear, asked for some at a time: databases bound what one query may name."""
    asked = list(uids)
    parts = [asked[start : start + ASKED_AT_ONCE] for start in range(0, len(asked), ASKED_AT_ONCE)]
    return frozenset(uid for part in parts for uid in rows.filter(uid__in=part).values_list("uid", flat=True))


def without_unknown_links(practice_id: int, rows: Sequence[SetRow], named: Named) -> list[SetRow]:
    """The rows, links emptied that lead nowhere in this practice."""
    unknown = _Unknown(practice_id, rows, named)
    return [unknown.left_out(row) for row in rows]


def link_problems(practice_id: int, rows: Sequence[SetRow], named: Named) -> Iterator[RowProblem]:
    """A problem for each link that leads nowhere in this practice."""
    unknown = _Unknown(practice_id, rows, named)
    for row in rows:
        if unknown.has_prescription(row):
            yield RowProblem(row.line, "prescription", "unknown", "There is no such prescription.")
        if unknown.has_scheduled_session(row):
            detail = "This client has no such scheduled session."
            yield RowProblem(row.line, "scheduled_session", "unknown", detail)


def taken_sets(practice_id: int, rows: Iterable[SetRow]) -> Iterator[RowProblem]:
    """Ids of sets that stand twice in the file, or already in the practice."""
    of_sets = [(row.line, row.content.uid) for row in rows if row.content and row.content.uid]
    taken = set(uids_there(LoggedSet.objects.filter(practice_id=practice_id), {uid for _, uid in of_sets}))
    for line, uid in of_sets:
        if uid in taken:
            yield RowProblem(line, "set", "conflict", "The id of this set is used elsewhere.")
        taken.add(uid)


class _Unknown:
    def __init__(self, practice_id: int, rows: Sequence[SetRow], named: Named) -> None:
        self.named = named
        prescriptions = {row.content.prescription_uid for row in rows if row.content} - {None}
        scheduled = {row.session.scheduled_session_uid for row in rows} - {None}
        of_practice = Prescription.objects.filter(practice_id=practice_id)
        self.prescriptions = uids_there(of_practice, {uid for uid in prescriptions if uid})
        clients = [client.id for client in named.values() if isinstance(client, Client)]
        self.scheduled: dict[uuid.UUID, int] = {}
        asked = [uid for uid in scheduled if uid]
        for start in range(0, len(asked), ASKED_AT_ONCE):
            found = ScheduledSession.objects.filter(
                practice_id=practice_id, uid__in=asked[start : start + ASKED_AT_ONCE]
            )
            self.scheduled |= {uid: of for uid, of in found.values_list("uid", "client_id") if of in clients}

    def has_prescription(self, row: SetRow) -> bool:
        uid = row.content.prescription_uid if row.content else None
        return uid is not None and uid not in self.prescriptions

    def has_scheduled_session(self, row: SetRow) -> bool:
        uid, client = row.session.scheduled_session_uid, self.named[row.client]
        return uid is not None and isinstance(client, Client) and self.scheduled.get(uid) != client.id

    def left_out(self, row: SetRow) -> SetRow:
        if self.has_scheduled_session(row):
            row = replace(row, session=replace(row.session, scheduled_session_uid=None))
        if row.content and self.has_prescription(row):
            row = replace(row, content=replace(row.content, prescription_uid=None))
        return row
