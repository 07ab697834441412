"""Mail that waits for somebody who leaves: what is urgent goes to who takes the clients, the rest nowhere."""

from datetime import datetime

from django.db.models import QuerySet

from coaching.models import MailKind, MailRow, MailState, Membership
from coaching.operations.mail import enqueue_mail

LEFT = "recipient_left"


def hand_over_urgent_mail(member: Membership, successor: Membership, now: datetime) -> None:
    """What the one who leaves was to be told at once is told the successor, in the caller's transaction."""
    for row in _waiting_for(member).filter(kind=MailKind.URGENT):
        enqueue_mail(
            practice_id=row.practice_id,
            kind=MailKind.URGENT,
            recipient=successor.account.email,
            # The key it would have had if the successor had been the coach all along.
            key=row.key.replace(str(member.uid), str(successor.uid)),
            payload=row.payload | {"membership": successor.id},
            now=now,
        )


def drop_mail_to(member: Membership) -> None:
    """Nothing of the practice is mailed to somebody who has left it."""
    _waiting_for(member).update(state=MailState.DEAD, error_code=LEFT)


def _waiting_for(member: Membership) -> QuerySet[MailRow]:
    waiting = MailRow.objects.filter(practice_id=member.practice_id, state=MailState.WAITING)
    return waiting.filter(payload__membership=member.id)
