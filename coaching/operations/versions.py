"""Edits name the version that they edit, and a record made under a client-made id is made once."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any, Generic, ParamSpec, Protocol, TypeVar

from django.db import IntegrityError
from django.db.models import Model, QuerySet

from coaching.errors import ConflictError, ForbearError, GoneError, NotFoundError, StaleVersionError
from coaching.models import Actor, Change, ChangeKind, Client, DigestKind, ErasedDigest, id_digest
from coaching.models.base import PracticeRow
from coaching.models.statements import asked
from coaching.operations.audit import record_change
from coaching.reads.clients import written_client

# Who wrote a record and when, what became of it since: not what was sent.
NOT_SENT = frozenset(
    {
        "id",
        "version",
        "created_at",
        "recorded_at",
        "author",
        "recorded_by",
        "referred_by",
        "assigned_by",
        "audit_key",
        "account",
        "dirty_from_on",
        "last_posted_at",
        "archived_at",
    }
)
Row = TypeVar("Row", bound=Model)
OwnRow = TypeVar("OwnRow", bound=PracticeRow)
Params = ParamSpec("Params")
Result = TypeVar("Result")


class Versioned(Protocol):
    version: int


@dataclass(frozen=True, slots=True)
class Kept(Generic[Row]):
    """A record as it stands, and whether this call has made it."""

    row: Row
    is_new: bool


def check_version(record: Versioned, expected_version: int) -> None:
    """Raises StaleVersionError; `record` is locked, and the caller may see it."""
    if record.version != expected_version:
        raise StaleVersionError(f"The current version is {record.version}.", standing=record)


def check_may_replace(record: Versioned, expected_version: int | None) -> None:
    """Raises ConflictError where other content is to be replaced unseen, StaleVersionError as above."""
    if expected_version is None:
        raise ConflictError(
            f"Other content stands here, at version {record.version}; name that in If-Match to edit it.",
            standing=record,
        )
    check_version(record, expected_version)


def looking_twice(operation: Callable[Params, Result]) -> Callable[Params, Result]:
    """`operation`, once more if a unique constraint stopped it: the row it met is there to be found then."""

    @wraps(operation)
    def look(*args: Params.args, **kwargs: Params.kwargs) -> Result:
        try:
            return operation(*args, **kwargs)
        except IntegrityError:
            return operation(*args, **kwargs)

    return look


def twin_of(
    fresh: OwnRow, *, visible: QuerySet[OwnRow], besides: frozenset[str] = frozenset()
) -> OwnRow | None:
    """What stands under the id of an unsaved row with the same content, or None if the id is free.

    Raises ConflictError for other content, and for an id that is used where the actor does not look;
    GoneError for one of somebody who was erased.
    """
    standing = visible.filter(uid=fresh.uid).first()
    if standing is None:
        rows: Any = type(fresh)._default_manager
        if rows.filter(practice_id=fresh.practice_id, uid=fresh.uid).exists():
            raise ConflictError("This id is taken.")
        check_not_erased(practice_id=fresh.practice_id, uids=[fresh.uid])
        return None
    compared = [field for field in fresh._meta.concrete_fields if field.name not in NOT_SENT | besides]
    if any(getattr(standing, field.attname) != getattr(fresh, field.attname) for field in compared):
        raise ConflictError("Other content stands under this id.", standing=standing)
    return standing


def check_not_gone(*, client: Client, kind: str, uids: list[uuid.UUID]) -> None:
    """Raises GoneError for an id that was deleted, be it before anything was stored under it.

    With the client's row locked, so that a deletion at the same time is seen or waits.
    """
    digests = [id_digest(uid) for uid in uids]
    own = [client.practice_id, client.id, str(kind), uids]
    [(is_deleted, is_erased)] = asked(IS_GONE, [*own, client.practice_id, DigestKind.RECORD.value, digests])
    if is_deleted:
        raise GoneError("This has been deleted.")
    if is_erased:
        raise GoneError(ERASED)


def check_not_erased(*, practice_id: int, uids: list[uuid.UUID]) -> None:
    """Raises GoneError for an id of somebody who was erased, whoever brings it again."""
    if ErasedDigest.objects.of_records(practice_id, uids).exists():
        raise GoneError(ERASED)


ERASED = "This has been erased."
IS_DELETED = (
    "EXISTS(SELECT 1 FROM coaching_change WHERE practice_id = %s AND client_id = %s AND kind = %s "
    "AND record_uid = ANY(%s) AND is_deleted)"
)
IS_ERASED = (
    "EXISTS(SELECT 1 FROM coaching_eraseddigest d JOIN coaching_erasure e ON e.id = d.erasure_id "
    "WHERE e.practice_id = %s AND d.kind = %s AND d.digest = ANY(%s))"
)
IS_GONE = f"SELECT {IS_DELETED}, {IS_ERASED}"


def not_there(actor: Actor, *, kind: str, uid: uuid.UUID, what: str) -> ForbearError:
    """What to raise for an id: GoneError if it was deleted for a client whom the actor may see, or erased.

    Of somebody erased nothing tells any more who may see them, so the whole practice is answered alike.
    """
    deleted = Change.objects.filter(
        practice_id=actor.practice_id,
        client__in=Client.objects.visible_to(actor),
        kind=kind,
        record_uid=uid,
        is_deleted=True,
    )
    if deleted.exists():
        return GoneError(f"This {what} has been deleted.")
    if ErasedDigest.objects.of_records(actor.practice_id, [uid]).exists():
        return GoneError(f"This {what} has been erased.")
    return NotFoundError(f"There is no such {what}.")


def delete_before_it_came(
    *,
    actor: Actor,
    client_uid: uuid.UUID | None,
    kind: ChangeKind,
    uid: uuid.UUID,
    has_come: Callable[[Client], bool],
    now: datetime,
) -> bool:
    """Leave a tombstone for an id under which nothing is stored yet, so that a late post finds it gone.

    False where it has come in meanwhile and is to be deleted as it is. In the caller's transaction. Raises
    GoneError for a second time, NotFoundError for a coach who does not say whose it was.
    """
    if actor.client_id is None and client_uid is None:
        raise not_there(actor, kind=kind, uid=uid, what=kind.label.lower())
    # Locked as by a post, which looks for the tombstone once it has the lock.
    client = Client.objects.select_for_update().get(id=written_client(actor, client_uid).id)
    check_not_gone(client=client, kind=kind, uids=[uid])
    if has_come(client):
        return False
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="delete",
        record_kind=kind,
        record_id=str(uid),
        now=now,
    )
    return True
