"""Who gets a morning mail for which night; the text is made when it is sent."""

from datetime import datetime

from coaching.compute.local_days import newest_due_night
from coaching.models import MailKind, Membership, Night, Role
from coaching.operations.mail import enqueue_mail


def enqueue_morning_mails(*, night: Night, now: datetime) -> None:
    """One mail per coach, for the newest night only: a morning gone by is not mailed. Safe to repeat."""
    practice = night.practice
    if night.night_on != newest_due_night(practice.zone, practice.night_hour, now):
        return
    members = Membership.objects.filter(
        practice_id=night.practice_id, left_at__isnull=True, wants_digest=True
    )
    for member in members.select_related("account"):
        if member.role == Role.OWNER and not member.clients.exists():
            continue
        enqueue_mail(
            practice_id=night.practice_id,
            kind=MailKind.MORNING,
            recipient=member.account.email,
            key=f"morning:{member.uid}:{night.night_on}",
            payload={"membership": member.id, "on": str(night.night_on)},
            now=now,
        )
