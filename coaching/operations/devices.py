"""The devices an account is signed in on; each holds a token of its own and can be signed out alone."""

import uuid
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from coaching.errors import NotFoundError
from coaching.models import Account, Actor, Client, DeviceToken, Membership, Practice, Role
from coaching.models.scope import across_practices
from coaching.operations.audit import record_change

DEVICES_PER_ACCOUNT = 50


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A new device; `token` is in clear here and nowhere else."""

    device: DeviceToken
    token: str
    actor: Actor


def open_device(
    *,
    account: Account,
    practice: Practice,
    membership: Membership | None,
    client: Client | None,
    device_name: str,
) -> SignedIn:
    """A token for one device, in the caller's transaction; beyond the limit the oldest device ends."""
    with across_practices("an account's devices are counted in every practice"):
        kept = DeviceToken.objects.filter(user=account).order_by("-created")[: DEVICES_PER_ACCOUNT - 1]
        DeviceToken.objects.filter(user=account).exclude(digest__in=[row.digest for row in kept]).delete()
    device, token = DeviceToken.objects.create(
        user=account, practice=practice, membership=membership, client=client, device_name=device_name
    )
    actor = Actor(
        account_id=account.id,
        device_id=device.uid,
        practice_id=practice.id,
        role=Role(membership.role) if membership else Role.CLIENT,
        membership_id=membership.id if membership else None,
        client_id=client.id if client else None,
    )
    return SignedIn(device, token, actor)


@transaction.atomic
def sign_out(*, actor: Actor, now: datetime) -> None:
    """End the device that asks; safe to repeat."""
    DeviceToken.objects.filter(user_id=actor.account_id, uid=actor.device_id).delete()
    audit_devices(actor, "sign_out", str(actor.device_id), now)


@transaction.atomic
def sign_out_device(*, actor: Actor, device_uid: uuid.UUID, now: datetime) -> None:
    """End one device of the same account. Raises NotFoundError."""
    with across_practices("an account's device may be signed in elsewhere"):
        ended, _ = DeviceToken.objects.filter(user_id=actor.account_id, uid=device_uid).delete()
    if not ended:
        raise NotFoundError("There is no such device.")
    audit_devices(actor, "sign_out", str(device_uid), now)


@transaction.atomic
def sign_out_everywhere(*, actor: Actor, now: datetime) -> None:
    """End every device of the account, the one that asks included, in every practice."""
    with across_practices("everywhere is every practice"):
        DeviceToken.objects.filter(user_id=actor.account_id).delete()
    audit_devices(actor, "sign_out_everywhere", "", now)


def audit_devices(actor: Actor, action: str, device: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=actor.practice_id,
        subject_key=None,
        action=action,
        record_kind="device",
        record_id=device,
        now=now,
    )
