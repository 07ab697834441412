"""A test of the test: each filter and each door is taken out once, and the matrix must see it.

The belts behind the filters are off meanwhile, or they would hide what is missing.
"""

import sys
from collections.abc import Callable
from typing import Any

import pytest

from api import authentication, permissions
from coaching.errors import NotFoundError
from coaching.models import (
    Alert,
    AuditEvent,
    Client,
    DeviceToken,
    Membership,
    Plan,
    Referral,
    Session,
    Webhook,
)
from coaching.models.client import ClientQuerySet
from coaching.models.exercise import ExerciseQuerySet
from coaching.operations.alerts import visible_alert
from coaching.operations.devices import sign_out_device
from coaching.operations.sessions import session_for
from coaching.reads.clients import client_for
from coaching.reads.memberships import members_of
from coaching.reads.plans import plan_for
from coaching.reads.referrals import referral_of
from coaching.reads.webhooks import webhooks_of
from tests.factories import NOW
from tests.security.test_matrix import faults, people, table, whole
from tests.security.test_matrix_belts import off, without_policies, without_scope

__all__ = ["people"]

Mutate = Callable[[pytest.MonkeyPatch], None]


def everywhere(patch: pytest.MonkeyPatch, original: Any, substitute: Any) -> None:
    """In every module that has imported it."""
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in ("api", "coaching"):
            for attribute, value in list(vars(module).items()):
                if value is original:
                    patch.setattr(module, attribute, substitute)


def visible(rows_of: Any) -> Mutate:
    return lambda patch: patch.setattr(ClientQuerySet, "visible_to", rows_of)


def instead(original: Any, substitute: Any) -> Mutate:
    return lambda patch: everywhere(patch, original, substitute)


def told_apart(actor: Any, client_uid: Any) -> Client:
    if not Client.objects.visible_to(actor).filter(uid=client_uid).exists():
        if Client.objects.filter(uid=client_uid).exists():
            raise NotFoundError("This is not your client.")
        raise NotFoundError("There is no such client.")
    return Client.objects.get(uid=client_uid)


def noted_first(actor: Any, client_uid: Any) -> Client:
    AuditEvent.objects.create(practice_id=actor.practice_id, at=NOW, action="try", record_kind="client")
    return client_for(actor, client_uid)


def device_of_anybody(*, actor: Any, device_uid: Any, now: Any) -> None:
    if not DeviceToken.objects.filter(uid=device_uid).delete()[0]:
        raise NotFoundError("There is no such device.")


def found(rows: Any, **named: Any) -> Any:
    row = rows.filter(**named).first()
    if row is None:
        raise NotFoundError("There is no such thing.")
    return row


MUTANTS: dict[str, tuple[str, Mutate]] = {
    "clients of everybody": ("clients", visible(lambda rows, actor: rows.all())),
    "clients of the whole practice": (
        "injuries",
        visible(lambda rows, actor: rows.filter(practice_id=actor.practice_id)),
    ),
    "clients of the same coach's number elsewhere": (
        "alerts and reads",
        visible(lambda rows, actor: rows.exclude(practice_id=actor.practice_id)),
    ),
    "plans of every practice": (
        "plans and exercises",
        instead(plan_for, lambda actor, plan_uid: found(Plan.objects, uid=plan_uid)),
    ),
    "members of every practice": (
        "members and webhooks",
        instead(members_of, lambda actor: Membership.objects.filter(left_at=None).select_related("account")),
    ),
    "webhooks of every practice": (
        "members and webhooks",
        instead(webhooks_of, lambda actor: Webhook.objects.kept()),
    ),
    "alerts of everybody": (
        "alerts and reads",
        instead(visible_alert, lambda actor, alert_uid: found(Alert.objects, uid=alert_uid)),
    ),
    "sessions of everybody": (
        "logged",
        instead(session_for, lambda actor, session_uid: found(Session.objects, uid=session_uid)),
    ),
    "referrals of another client": (
        "files",
        instead(referral_of, lambda client, referral_uid: found(Referral.objects, uid=referral_uid)),
    ),
    "exercises of every practice": (
        "plans and exercises",
        lambda patch: patch.setattr(ExerciseQuerySet, "known_to", lambda rows, practice_id: rows.all()),
    ),
    "devices of everybody": ("signing in", instead(sign_out_device, device_of_anybody)),
    "clients with a coach's rights": (
        "members and webhooks",
        lambda patch: patch.setattr(permissions.IsCoach, "has_permission", lambda *args: True),
    ),
    "coaches with an owner's rights": (
        "members and webhooks",
        lambda patch: patch.setattr(permissions.IsOwner, "has_permission", lambda *args: True),
    ),
    "tokens of those who left": (
        "signing in",
        lambda patch: patch.setattr(authentication, "_belongs", lambda device: True),
    ),
    "tokens whose time is over": (
        "signing in",
        lambda patch: patch.setattr(authentication, "_is_over", lambda device: False),
    ),
    "another sentence for what is not yours": ("clients", instead(client_for, told_apart)),
    "a denied call that leaves a row": ("clients", instead(client_for, noted_first)),
}


@pytest.mark.long
@pytest.mark.parametrize("name", MUTANTS)
def test_the_matrix_sees_a_filter_taken_out(people, monkeypatch, name):
    section, mutate = MUTANTS[name]
    off(without_scope, without_policies)(monkeypatch)
    mutate(monkeypatch)
    assert next(faults(people, whole(table()[section])), None) is not None
