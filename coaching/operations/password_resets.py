"""A new password by a link in a mail: short-lived, good for once, and nothing of it is stored.

The link's token is a keyed digest of the account as it stands (Django's own), so that setting a password, or
asking from another address meanwhile, ends it.
"""

import uuid
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.db import transaction

from coaching.errors import LinkError
from coaching.models import Account, DeviceToken, MailKind
from coaching.models.scope import across_practices
from coaching.operations.audit import record_change
from coaching.operations.mail import enqueue_mail
from coaching.operations.passwords import new_password_hash
from coaching.operations.sign_in_limits import count_request, forget_failures, note_request_for_nobody
from coaching.reads.places import places_of

TOKEN_PREFIX = "fbrreset_"  # noqa: S105 - leaked ones can be searched for
UNUSABLE = "This link is unknown, used or too old."
ONE_MAIL_EVERY_S = settings.PASSWORD_RESET_TIMEOUT
VALID_FOR = timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT)


class _Tokens(PasswordResetTokenGenerator):
    """Django's tokens at a stated time."""

    def __init__(self, now: datetime) -> None:
        super().__init__()
        self.now = now

    def _now(self) -> datetime:
        return self.now.astimezone(UTC).replace(tzinfo=None)


@across_practices("nobody has said yet where the account is at home")
def ask_for_reset(*, email: str, address: str, now: datetime) -> None:
    """Mail a link to the account with this address, if there is one; the caller cannot tell.

    At most one mail in ten minutes. Raises TooManyAttemptsError.
    """
    count_request(address=address, now=now)
    account = Account.objects.named(email)
    is_open = account is not None and account.is_active
    # Nobody's places are looked for as well, and a row is written, so that an unknown address costs the same.
    asked_for = account or Account(email=email)
    places = places_of(asked_for)
    spell = int(now.timestamp()) // ONE_MAIL_EVERY_S
    if not is_open or not places:
        spell_began_at = datetime.fromtimestamp(spell * ONE_MAIL_EVERY_S, UTC)
        note_request_for_nobody(email=email, spell_began_at=spell_began_at)
        return
    enqueue_mail(
        practice_id=places[0].practice.id,
        kind=MailKind.RESET,
        recipient=asked_for.email,
        key=f"reset:{asked_for.id}:{spell}",
        payload={"account": str(asked_for.id)},
        now=now,
    )


def reset_token(account: Account, asked_at: datetime) -> str:
    """What the mail carries; the same for the same account, as it stands, and time."""
    return f"{TOKEN_PREFIX}{account.id.hex}_{_Tokens(asked_at).make_token(account)}"


@across_practices("an account may be at home in several practices")
def accept_reset(*, token: str, new_password: str, now: datetime) -> None:
    """Set the password, end every device of the account, and let its holder sign in again.

    A second factor stays. Of two at once one wins. Raises LinkError, InvalidError.
    """
    account = _account_of(token, now)
    password_hash = new_password_hash(account, new_password, field="new_password")
    with transaction.atomic():
        account = Account.objects.select_for_update().get(id=account.id)
        if not _opens(token, account, now):
            raise LinkError(UNUSABLE)
        account.password = password_hash
        account.save(update_fields=["password"])
        DeviceToken.objects.filter(user=account).delete()
        for place in places_of(account):
            record_change(
                actor=None,
                practice_id=place.practice.id,
                subject_key=None,
                action="reset_password",
                record_kind="account",
                record_id=str(account.id),
                now=now,
            )
    forget_failures(email=account.email)


def _account_of(token: str, now: datetime) -> Account:
    try:
        account_id = uuid.UUID(token.removeprefix(TOKEN_PREFIX).partition("_")[0])
    except ValueError:
        raise LinkError(UNUSABLE) from None
    account = Account.objects.filter(id=account_id, is_active=True).first()
    if account is None or not _opens(token, account, now):
        raise LinkError(UNUSABLE)
    return account


def _opens(token: str, account: Account, now: datetime) -> bool:
    return _Tokens(now).check_token(account, token.removeprefix(TOKEN_PREFIX).partition("_")[2])
