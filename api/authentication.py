"""Bearer tokens of devices and of services; the token says the practice and who the bearer is there."""

import uuid
from datetime import timedelta
from typing import Any

from django.utils import timezone
from knox.auth import TokenAuthentication
from rest_framework import exceptions
from rest_framework.request import Request

from coaching.models import Actor, Client, DeviceToken, Role, ServiceToken
from coaching.models.scope import across_practices
from coaching.operations.service_tokens import TOKEN_PREFIX, service_actor, usable_service_token
from coaching.reads.clients import written_client
from coaching.reads.devices import check_bearer_is_not_erased, device_with

LAST_USED_STEP = timedelta(minutes=10)
IDLE_AFTER = timedelta(days=30)


class DeviceTokenAuthentication(TokenAuthentication):  # type: ignore[misc]  # knox is untyped
    """Knox reads the header and makes the tokens; its own look-up goes through all tokens of the account."""

    @across_practices("the token is what names the practice")
    def authenticate_credentials(self, token: bytes) -> tuple[Any, DeviceToken | ServiceToken]:
        if not token.isascii() or len(token) > 200:
            raise exceptions.AuthenticationFailed("Invalid token.")
        if token.startswith(TOKEN_PREFIX.encode()):
            return _service(token.decode())
        device = _device_with(token.decode())
        if device is None or not device.user.is_active:
            check_bearer_is_not_erased(token.decode())
            raise exceptions.AuthenticationFailed("Invalid token.")
        if not _belongs(device) or _is_idle(device):
            raise exceptions.AuthenticationFailed("Invalid token.")
        _note_use(device)
        return device.user, device


def _service(token: str) -> tuple[Any, ServiceToken]:
    row = usable_service_token(token=token, now=timezone.now())
    if row is None:
        raise exceptions.AuthenticationFailed("Invalid token.")
    return row.made_by.account, row


def actor_of(request: Request) -> Actor:
    """Who asks, as the token says."""
    device = request.auth
    if isinstance(device, ServiceToken):
        return service_actor(device)
    if not isinstance(device, DeviceToken):
        raise exceptions.NotAuthenticated
    membership = device.membership
    return Actor(
        account_id=device.user_id,
        device_id=device.uid,
        practice_id=device.practice_id,
        role=Role(membership.role) if membership else Role.CLIENT,
        membership_id=membership.id if membership else None,
        client_id=device.client_id,
        sees_all_clients=bool(
            membership and (membership.role == Role.OWNER or device.practice.coaches_see_all_clients)
        ),
    )


def written_by(request: Request, named_uid: uuid.UUID | None) -> Client:
    """Whose record the request writes: as `written_client`, with the row that the token came with."""
    device = request.auth
    if named_uid is not None or not isinstance(device, DeviceToken) or device.client is None:
        return written_client(actor_of(request), named_uid)
    client: Client = device.client
    client.practice = device.practice  # the same row: a device is of its client's practice
    return client


def _device_with(token: str) -> DeviceToken | None:
    """None for one whose time is over, which is removed by that."""
    device = device_with(token)
    if device is None or not _is_over(device):
        return device
    device.delete()
    return None


def _is_over(device: DeviceToken) -> bool:
    return device.expiry is not None and bool(device.expiry < timezone.now())


def _belongs(device: DeviceToken) -> bool:
    """Who has left the practice, or been archived, is out at once on every device; so is who was no owner
    of one that has closed."""
    if device.practice.closed_at is not None and not _is_owners(device):
        return False
    if device.membership is not None:
        return device.membership.left_at is None
    return device.client is not None and device.client.archived_at is None


def _is_owners(device: DeviceToken) -> bool:
    return device.membership is not None and device.membership.role == Role.OWNER


def _is_idle(device: DeviceToken) -> bool:
    """A device that nobody used for a month is not let in again without the password."""
    return timezone.now() - (device.last_used_at or device.created) > IDLE_AFTER


def _note_use(device: DeviceToken) -> None:
    now = timezone.now()
    if device.last_used_at is None or now - device.last_used_at > LAST_USED_STEP:
        DeviceToken.objects.filter(pk=device.pk).update(last_used_at=now)
