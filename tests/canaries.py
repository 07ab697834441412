"""Two people in every table, each with words that occur nowhere else, and a look into every column."""

import json
import uuid
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.db import connection, models

from coaching.models import (
    Alert,
    Assignment,
    AuditEvent,
    CalendarFeed,
    Change,
    Client,
    Consent,
    DeviceToken,
    Invitation,
    JointStress,
    MailRow,
    SecondFactor,
    Session,
    WebhookDelivery,
)
from coaching.models.person import WAY_TO_CLIENT
from tests.constraint_rows import World, insert
from tests.factories import AccountFactory, ClientFactory, InjuryFactory

# Words of our own are checked by the database, so they cannot be canaries.
CODED = frozenset(
    {"kind", "side", "joint", "moment", "status", "role", "purpose", "said_by", "ended_by", "track",
     "closing", "zone", "country", "training_status", "progression_rule", "load_unit", "state", "event",
     "basis", "method", "movement_pattern", "code", "password", "digest", "token_digest", "content_hash",
     "tempo", "target"}
)  # fmt: skip


MADE_APART = (Client, Consent, Assignment, Session, CalendarFeed, DeviceToken, Invitation, WebhookDelivery)


# Rows that are a client's only if they are asked to be.
OWN = {
    JointStress: lambda own: {"practice": own.practice, "client": own.client},
    Change: lambda own: {"record_uid": own.session.uid},
}


def person(rows: World, word: str, **client: Any) -> Client:
    """A client with an account, and one row at least of theirs in every table there is."""
    account = AccountFactory(email=f"{word}@example.org", name=f"{word} account")
    made = ClientFactory(coach=rows.coach, account=account, name=f"{word} Lift", **client)
    own = replace(
        rows,
        client=made,
        injury=InjuryFactory(client=made, said=f"{word} said"),
        account=account,
    )
    own = replace(own, consent=_insert(own, word, Consent))
    own = replace(own, assignment=_insert(own, word, Assignment))
    own = replace(own, session=_insert(own, word, Session, note=f"{word} note"))
    for model in WAY_TO_CLIENT:
        if model not in MADE_APART:
            _insert(own, word, model, **OWN.get(model, lambda _: {})(own))
    _insert(own, word, CalendarFeed)
    token = {"membership": None, "client": made, "user": account, "device_name": f"{word} phone"}
    _insert(own, word, DeviceToken, **token)
    invitation = _insert(
        own, word, Invitation, role="client", client=made, email=f"{word}.invited@example.org"
    )
    alert = Alert.objects.filter(client=made).latest("id")
    delivered = {"alert": alert, "event": "alert.opened", "event_key": f"alert.opened:{alert.uid}"}
    _insert(own, word, WebhookDelivery, **delivered)
    insert(SecondFactor, own, secret_sealed=f"{word} sealed")
    _mails(own, word, alert, invitation)
    _trail(own, alert)
    return made


def _mails(own: World, word: str, alert: models.Model, invitation: models.Model) -> None:
    account = own.account
    for changes in (
        {"key": f"urgent:{alert.uid}", "payload": {"alert": alert.pk, "membership": own.coach.pk}},  # type: ignore[attr-defined]
        {
            "kind": "invitation",
            "recipient": f"{word}.invited@example.org",
            "payload": {"invitation": invitation.pk},
        },
        {"kind": "reset", "recipient": account.email, "payload": {"account": str(account.id)}},
    ):
        insert(MailRow, own, **changes)


def _trail(own: World, alert: Any) -> None:
    client, account = own.client, own.account
    insert(AuditEvent, own, record_id=str(client.uid), detail={"clearance": str(alert.uid)}, read_hour=None)
    by_self = {"account_id": account.id, "subject_key": client.audit_key, "record_kind": "session"}
    insert(AuditEvent, own, **by_self, device_id=uuid.uuid4())
    insert(AuditEvent, own, account_id=account.id, subject_key=None, record_kind="device", read_hour=None)
    insert(
        AuditEvent, own, account_id=None, subject_key=None, record_kind="account",
        record_id=str(account.id), read_hour=None,
    )  # fmt: skip


def _insert(own: World, word: str, model: type[models.Model], **changes: Any) -> Any:
    """The smallest row, with the canary wherever free text goes."""
    texts = {
        field.name: f"{word} {field.name}"[: field.max_length]
        for field in model._meta.concrete_fields
        if isinstance(field, models.CharField)
        and not isinstance(field, models.EmailField)
        and field.name not in CODED
        and not field.choices
        and field.name not in ("error_code", "event_key", "token_key")
    }
    return insert(model, own, **(texts | changes))


def marks_of(client: Client) -> set[str]:
    """The ids by which this person is known anywhere, as they are written in a column."""
    found = {str(client.uid), str(client.audit_key), str(client.account_id)}
    for model, way in WAY_TO_CLIENT.items():
        if any(field.name == "uid" for field in model._meta.fields):
            rows = model._default_manager.filter(**{way or "pk": client.pk})
            found |= {str(uid) for uid in rows.values_list("uid", flat=True)}
    return found - {"None"}


def cells() -> list[tuple[str, str]]:
    """Every table's every value as text, whatever the models think."""
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            for row in cursor.fetchall():
                found += [(table, _text(value)) for value in row if value is not None]
    return found


def _text(value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, default=_plain)
    return _with_dashes(text)


def _plain(value: Any) -> str:
    return value.isoformat() if isinstance(value, date | datetime) else str(value)


def _with_dashes(text: str) -> str:
    """SQLite keeps UUIDs as 32 digits."""
    try:
        return str(uuid.UUID(text)) if len(text) == 32 else text
    except ValueError:
        return text


def where(words: set[str]) -> set[str]:
    """The tables in which any of these words occurs."""
    return {table for table, text in cells() if any(word in text for word in words)}
