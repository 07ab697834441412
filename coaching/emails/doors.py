"""The mails that let people in: an invitation, and a link for a new password."""

from django.conf import settings
from django.core.mail import EmailMultiAlternatives

from coaching.emails.message import NothingToTellError, compose
from coaching.models import Account, Invitation, MailRow, Role
from coaching.operations.invitations import VALID_FOR as INVITATION_LASTS
from coaching.operations.invitations import token_of
from coaching.operations.password_resets import VALID_FOR, reset_token

AS_WHAT = {Role.OWNER: "its owner", Role.COACH: "a coach", Role.CLIENT: "a client"}


def invitation_mail(row: MailRow) -> EmailMultiAlternatives:
    """How to come in. Raises NothingToTellError if the invitation was used, ended or withdrawn meanwhile."""
    invitation = (
        Invitation.objects.select_related("practice", "invited_by")
        .filter(id=row.payload["invitation"])
        .first()
    )
    if invitation is None or invitation.accepted_at is not None:
        raise NothingToTellError("invitation_over")
    if invitation.expires_at < invitation.created_at + INVITATION_LASTS:
        raise NothingToTellError("invitation_ended")
    token = token_of(invitation)
    if token is None:
        raise NothingToTellError("secret_changed")
    return compose(
        row,
        subject="You are invited",
        template="invitation",
        context={
            "title": "You are invited",
            "practice": invitation.practice,
            "invited_by": invitation.invited_by.name if invitation.invited_by else "",
            "as_what": AS_WHAT[Role(invitation.role)],
            "until": f"{invitation.expires_at:%Y-%m-%d %H:%M} UTC",
            "token": token,
            "address": _address(settings.INVITATION_URL, token),
        },
    )


def reset_mail(row: MailRow) -> EmailMultiAlternatives:
    """A link for a new password, made from the account as it stands. Raises NothingToTellError."""
    account = Account.objects.filter(id=row.payload["account"], is_active=True).first()
    if account is None:
        raise NothingToTellError("account_gone")
    token = reset_token(account, row.created_at)
    return compose(
        row,
        subject="A new password",
        template="reset",
        context={
            "title": "A new password",
            "until": f"{row.created_at + VALID_FOR:%Y-%m-%d %H:%M} UTC",
            "token": token,
            "address": _address(settings.PASSWORD_RESET_URL, token),
        },
    )


def _address(page: str, token: str) -> str:
    """The front end's page with the token behind the #, which browsers send to nobody."""
    return f"{page}#token={token}" if page else ""
