"""How people come in: owners invite coaches, coaches invite clients, each by a link that works once.

The link's token is a keyed digest of the invitation's id, so that the mail can be written from the row, and
the row keeps nothing that opens anything. It is answered to whoever invites as well.
"""

import base64
import hashlib
import hmac
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction

from coaching.errors import (
    ConflictError,
    ForbiddenError,
    InvalidError,
    LinkError,
    SignInError,
    TooManyAttemptsError,
)
from coaching.models import Account, Actor, ChangeKind, Client, Invitation, MailKind, Membership, Role
from coaching.models.scope import across_practices
from coaching.operations.addresses import email_faults
from coaching.operations.audit import record_change
from coaching.operations.changes import Changed, note_changes
from coaching.operations.devices import SignedIn, open_device
from coaching.operations.mail import enqueue_mail
from coaching.operations.passwords import new_password_hash, prove_identity
from coaching.reads.clients import client_for

VALID_FOR = timedelta(days=7)
TOKEN_PREFIX = "fbrinv_"  # noqa: S105 - leaked ones can be searched for
TOKEN_PURPOSE = b"forbear invitation 1\0"
PER_PRACTICE_A_DAY = 200
UNUSABLE = "This invitation is unknown, used or too old."


@dataclass(frozen=True, slots=True)
class NewInvitation:
    """`token` is in clear here and nowhere else."""

    invitation: Invitation
    token: str


@transaction.atomic
def invite_coach(*, actor: Actor, email: str, now: datetime) -> NewInvitation:
    """Invite a coach into the owner's practice; an earlier invitation to the same address ends.

    Raises ForbiddenError, InvalidError, ConflictError if the address belongs to a member already.
    """
    if not actor.is_owner:
        raise ForbiddenError("Only the owner invites coaches.")
    is_member = Membership.objects.filter(
        practice_id=actor.practice_id, left_at__isnull=True, account__email__iexact=email
    ).exists()
    if is_member:
        raise ConflictError("This address belongs to a member of the practice already.")
    return write_invitation(
        actor=actor, practice_id=actor.practice_id, role=Role.COACH, email=email, client=None, now=now
    )


@transaction.atomic
def invite_client(*, actor: Actor, client_uid: uuid.UUID, email: str, now: datetime) -> NewInvitation:
    """Let a client in; an earlier invitation of the same client ends.

    Raises NotFoundError, ForbiddenError unless the actor is the client's coach or the owner, InvalidError,
    ConflictError if the client has an account or is archived.
    """
    client = client_for(actor, client_uid)
    if not actor.is_owner and (actor.membership_id is None or client.coach_id != actor.membership_id):
        raise ForbiddenError("Only the client's own coach or the owner invites a client.")
    if client.account_id is not None:
        raise ConflictError("This client has an account already.")
    if client.archived_at is not None:
        raise ConflictError("This client is archived.")
    return write_invitation(
        actor=actor, practice_id=actor.practice_id, role=Role.CLIENT, email=email, client=client, now=now
    )


@across_practices("the link is what names the practice")
def accept_invitation(
    *,
    token: str,
    name: str,
    password: str,
    device_name: str,
    address: str,
    now: datetime,
    code: str = "",
) -> SignedIn:
    """Come in, once: makes the account, or joins the one that holds the address after its password is proven.

    Not atomic as a whole: a wrong password must stay counted. Of two accepts at once one wins. Raises
    LinkError, InvalidError, SignInError, SecondFactorNeededError, TooManyAttemptsError, ConflictError.
    """
    invitation = _usable_invitation(token, now)
    account = Account.objects.named(invitation.email)
    if account is None:
        account = _new_account(invitation, name, password, now)
    else:
        _prove(account, password, code, address, now)
    return _claim(invitation, account, device_name, now)


def write_invitation(
    *,
    actor: Actor | None,
    practice_id: int,
    role: Role,
    email: str,
    client: Client | None,
    now: datetime,
) -> NewInvitation:
    """The row and its token, in the caller's transaction; `actor` is None for an operator at the machine."""
    faults = email_faults(email)
    if faults:
        raise InvalidError("Nobody can be invited at this address.", faults)
    _check_quota(practice_id, now)
    _end_earlier(practice_id, role, email, client, now)
    uid = uuid.uuid4()
    token = _token(uid, settings.SECRET_KEY)
    invitation = Invitation.objects.create(
        uid=uid,
        practice_id=practice_id,
        role=role,
        email=email,
        client=client,
        token_digest=digest_of(token),
        invited_by_id=actor.account_id if actor else None,
        created_at=now,
        expires_at=now + VALID_FOR,
    )
    _audit(actor, invitation, "invite", now)
    if actor is not None:
        _mail(invitation, now)
    return NewInvitation(invitation, token)


def token_of(invitation: Invitation) -> str | None:
    """The token again, from the row; None if it was made with a secret that the service no longer has."""
    made = (
        _token(invitation.uid, secret) for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    )
    return next((token for token in made if digest_of(token) == invitation.token_digest), None)


def _token(uid: uuid.UUID, secret: str) -> str:
    digest = hmac.new(secret.encode(), TOKEN_PURPOSE + uid.bytes, hashlib.sha256).digest()
    return TOKEN_PREFIX + base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def _mail(invitation: Invitation, now: datetime) -> None:
    enqueue_mail(
        practice_id=invitation.practice_id,
        kind=MailKind.INVITATION,
        recipient=invitation.email,
        key=f"invitation:{invitation.uid}",
        payload={"invitation": invitation.id},
        now=now,
    )


def _check_quota(practice_id: int, now: datetime) -> None:
    """Nobody uses the service to write to strangers."""
    day_ago = now - timedelta(days=1)
    if (
        Invitation.objects.filter(practice_id=practice_id, created_at__gt=day_ago).count()
        >= PER_PRACTICE_A_DAY
    ):
        raise TooManyAttemptsError("The practice has invited too many people today.", 3600)


def digest_of(token: str) -> str:
    """SHA-256 is enough for 256 random bits; a slow hash is for what people choose."""
    return hashlib.sha256(token.encode()).hexdigest()


def _end_earlier(practice_id: int, role: Role, email: str, client: Client | None, now: datetime) -> None:
    waiting = Invitation.objects.filter(practice_id=practice_id, role=role, accepted_at__isnull=True)
    same = waiting.filter(client=client) if client else waiting.filter(email__iexact=email)
    same.filter(expires_at__gt=now).update(expires_at=now)


def _usable_invitation(token: str, now: datetime) -> Invitation:
    invitation = (
        Invitation.objects.select_related("client", "practice")
        .filter(token_digest=digest_of(token), accepted_at__isnull=True, expires_at__gt=now)
        .first()
    )
    if invitation is None or (invitation.client is not None and invitation.client.archived_at is not None):
        raise LinkError(UNUSABLE)
    return invitation


def _new_account(invitation: Invitation, name: str, password: str, now: datetime) -> Account:
    name = name or (invitation.client.name if invitation.client else "")
    if not name:
        raise InvalidError.at("name", "required", "A new account needs a name.")
    account = Account(email=invitation.email, name=name, created_at=now)
    account.password = new_password_hash(account, password, field="password")
    return account


def _prove(account: Account, password: str, code: str, address: str, now: datetime) -> None:
    try:
        prove_identity(email=account.email, password=password, code=code, address=address, now=now)
    except SignInError:
        raise SignInError("An account with this address exists; give its password.") from None


@transaction.atomic
def _claim(invitation: Invitation, account: Account, device_name: str, now: datetime) -> SignedIn:
    """Use the link up by a conditional update, so that two at once cannot both win."""
    claimed = Invitation.objects.filter(
        id=invitation.id, accepted_at__isnull=True, expires_at__gt=now
    ).update(accepted_at=now)
    if not claimed:
        raise LinkError(UNUSABLE)
    if account._state.adding:
        account.save(force_insert=True)
    _check_has_no_other_place(invitation, account)
    membership = client = None
    if invitation.client is not None:
        client = _join_as_client(invitation.client, account)
        joined = Changed(client.id, ChangeKind.CLIENT, client.uid)
        note_changes(practice_id=client.practice_id, changed=[joined], now=now)
    else:
        membership = Membership.objects.create(
            practice_id=invitation.practice_id, account=account, role=invitation.role, joined_at=now
        )
    signed_in = open_device(
        account=account,
        practice=invitation.practice,
        membership=membership,
        client=client,
        device_name=device_name,
    )
    _audit(signed_in.actor, invitation, "accept", now)
    return signed_in


def _check_has_no_other_place(invitation: Invitation, account: Account) -> None:
    """One account is one thing in a practice, so that a token never has to say which."""
    practice_id = invitation.practice_id
    is_member = Membership.objects.filter(practice_id=practice_id, account=account, left_at__isnull=True)
    is_client = Client.objects.current().filter(practice_id=practice_id, account=account)
    if is_member.exists() or is_client.exists():
        raise ConflictError("This account is in the practice already.")


def _join_as_client(client: Client, account: Account) -> Client:
    joined = Client.objects.current().filter(id=client.id, account__isnull=True).update(account=account)
    if not joined:
        raise LinkError(UNUSABLE)
    client.account = account
    return client


def _audit(actor: Actor | None, invitation: Invitation, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=invitation.practice_id,
        subject_key=invitation.client.audit_key if invitation.client else None,
        action=action,
        record_kind="invitation",
        record_id=str(invitation.uid),
        now=now,
        detail={"role": str(invitation.role)},
    )
