"""Erasing a person: every row about them goes in one transaction; digests stay so that nothing returns."""

import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from coaching.errors import ForbiddenError, GoneError, InvalidError
from coaching.models import (
    Account,
    Actor,
    Alert,
    CalendarFeed,
    Change,
    Client,
    DeviceToken,
    DigestKind,
    ErasedDigest,
    Erasure,
    Invitation,
    LoggedSet,
    MailKind,
    MailRow,
    Membership,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    PainReport,
    Session,
    id_digest,
)
from coaching.models.person import WAY_TO_CLIENT, rows_of
from coaching.models.scope import across_practices, within_practice
from coaching.operations.audit import record_change
from coaching.operations.audit_door import forget_account, forget_subject
from coaching.operations.sign_in_limits import forget_failures
from coaching.reads.clients import client_for, merged_into

AT_ONCE = 1000
# Their ids are made here, or are told only within another record.
COUNTED_AS = {NightClientState.SCORED: "clients_scored", NightClientState.FAILED: "clients_failed"}
IDS_OF_NO_RECORD = frozenset({LoggedSet, CalendarFeed, Invitation, DeviceToken})


@dataclass(frozen=True, slots=True)
class Erased:
    """What was erased, and what the files beside the database are found by; it is kept nowhere."""

    erasure: Erasure
    rows: int
    has_account_gone: bool
    known_since: datetime
    recipients: frozenset[str]
    own_address: str
    name: str


def erase_client(*, actor: Actor, client_uid: uuid.UUID, confirm: str, now: datetime) -> Erased:
    """Erase a client for good: the owner does it, or the client themselves, who type the name as it stands.

    A second time answers GoneError. Raises NotFoundError, ForbiddenError, InvalidError, GoneError.
    """
    client = client_for(actor, client_uid)
    if not actor.is_owner and actor.client_id != client.id:
        raise ForbiddenError("Only the owner or the client themselves erases a client.")
    if confirm != client.name:
        raise InvalidError.at("confirm", "not_the_name", "Type the client's name as it stands in the record.")
    return erase(client=client, actor=actor, now=now)


@transaction.atomic
def erase(*, client: Client, actor: Actor | None, now: datetime, erased_at: datetime | None = None) -> Erased:
    """The same by an operator, by retention, or once more after a restore; `actor` is None for the service.

    Of two at once the later one finds nobody. Raises GoneError.
    """
    with within_practice(client.practice_id):
        _wipe_what_is_freed()
        client = _locked(client)
        # What is left of duplicates that were merged into this client is of the same person.
        records = [*merged_into(client).select_related("practice", "account"), client]
        account = client.account
        erasure = _leave_tombstone(client, erased_at or now)
        recipients = _recipients(client)
        address = account.email if account else ""
        n_rows = 0
        for each in records:
            add_digests(erasure, _digests_of(each))
            n_rows += _forget_mail(each)
            _take_out_of_nights(each)
            _unlink_trail(each)
        record_change(
            actor=None if actor is None or actor.client_id == client.id else actor,
            practice_id=client.practice_id,
            subject_key=client.audit_key,
            action="erase",
            record_kind="erasure",
            record_id="",
            now=now,
        )
        n_rows += sum(map(_delete_rows, records))
    has_account_gone = account is not None and _delete_account(account, client.practice_id)
    return Erased(erasure, n_rows, has_account_gone, client.created_at, recipients, address, client.name)


def _wipe_what_is_freed() -> None:
    """SQLite leaves deleted rows readable in free pages unless it is asked to overwrite them."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA secure_delete = ON")


def _locked(client: Client) -> Client:
    """In the order of nights and posts: nights' rows, sessions, pain reports, then the client itself."""
    for rows in (
        NightClient.objects.filter(client=client),
        Session.objects.filter(client=client),
        PainReport.objects.filter(client=client),
    ):
        list(rows.order_by("id").select_for_update().values_list("id", flat=True))
    found = (
        Client.objects.select_for_update(of=("self",))
        .select_related("practice", "account")
        .filter(id=client.id)
    ).first()
    if found is None:
        raise GoneError("This client has been erased.")
    return found


def _leave_tombstone(client: Client, erased_at: datetime) -> Erasure:
    practice = client.practice
    erasure, _ = Erasure.objects.get_or_create(
        practice=practice,
        client_digest=id_digest(client.uid),
        defaults={"erased_at": erased_at},
    )
    return erasure


def add_digests(erasure: Erasure, digests: Iterable[tuple[str, str]]) -> None:
    """Keep these kinds and digests under a tombstone; safe to repeat."""
    rows = [ErasedDigest(erasure=erasure, kind=kind, digest=digest) for kind, digest in digests]
    ErasedDigest.objects.bulk_create(rows, ignore_conflicts=True, batch_size=AT_ONCE)


def _digests_of(client: Client) -> Iterator[tuple[str, str]]:
    """The ids of every record an app may hold, those that were deleted before included, and the tokens."""
    uids = set(Change.objects.filter(client=client).values_list("record_uid", flat=True))
    for model in WAY_TO_CLIENT:
        if model not in IDS_OF_NO_RECORD and any(field.name == "uid" for field in model._meta.fields):
            uids |= set(rows_of(model, client).values_list("uid", flat=True))
    for uid in sorted(uids):
        yield DigestKind.RECORD, id_digest(uid)
    for digest in DeviceToken.objects.filter(client=client).values_list("digest", flat=True):
        yield DigestKind.TOKEN, digest
    for digest in CalendarFeed.objects.filter(client=client).values_list("token_digest", flat=True):
        yield DigestKind.TOKEN, digest


def _recipients(client: Client) -> frozenset[str]:
    """Who may have had mail about the client, or from them: everybody who ever belonged to the practice."""
    members = Membership.objects.filter(practice_id=client.practice_id)
    return frozenset(email.lower() for email in members.values_list("account__email", flat=True))


def _forget_mail(client: Client) -> int:
    """The outbox's rows about the client or to them; they hold ids, and their keys name alerts."""
    about = Q(kind=MailKind.URGENT, payload__alert__in=_ids(Alert.objects.filter(client=client)))
    about |= Q(payload__invitation__in=_ids(Invitation.objects.filter(client=client)))
    if client.account is not None:
        about |= Q(recipient__iexact=client.account.email) | Q(payload__account=str(client.account.id))
    deleted, _ = MailRow.objects.filter(about, practice_id=client.practice_id).delete()
    return deleted


def _ids(rows: QuerySet[Alert] | QuerySet[Invitation]) -> list[int]:
    return list(rows.values_list("id", flat=True))


def _take_out_of_nights(client: Client) -> None:
    """A night that is done counts the clients whose outcome it still has."""
    of_client = NightClient.objects.filter(client=client, revision=0, night__status=NightStatus.DONE)
    for state, column in COUNTED_AS.items():
        nights = Night.objects.filter(id__in=of_client.filter(state=state).values("night"))
        nights.filter(**{f"{column}__gt": 0}, clients_total__gt=0).update(
            **{column: F(column) - 1}, clients_total=F("clients_total") - 1
        )


def _unlink_trail(client: Client) -> None:
    """The trail keeps that somebody's records were read; the key leads to nobody, and no id to a record."""
    forget_subject(subject_key=client.audit_key, own_account_id=client.account_id)
    if client.account_id is None:
        return
    is_member = Membership.objects.filter(practice_id=client.practice_id, account_id=client.account_id)
    if not is_member.exists():
        forget_account(account_id=client.account_id)


def _delete_rows(client: Client) -> int:
    n_rows = 0
    for model in reversed(WAY_TO_CLIENT):
        n_rows += rows_of(model, client).delete()[0]
    return n_rows


@across_practices("an account goes with its last place, wherever that was")
def _delete_account(account: Account, practice_id: int) -> bool:
    """One that coaches, or trains elsewhere, stays."""
    has_place = Client.objects.filter(account=account).exists()
    if has_place or Membership.objects.filter(account=account).exists():
        return False
    forget_account(account_id=account.id)
    MailRow.objects.filter(Q(recipient__iexact=account.email) | Q(payload__account=str(account.id))).delete()
    Invitation.objects.filter(practice_id=practice_id, email__iexact=account.email).delete()
    forget_failures(email=account.email)
    Account.objects.filter(id=account.id).delete()
    return True
