"""The urgent mail: a red flag or a passed pain limit, told within a minute of the post."""

import uuid
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.core.mail import EmailMultiAlternatives

from coaching.charts import capital, day_words
from coaching.compute import evidence
from coaching.compute.red_flags import PAIN_JUMP_CODE
from coaching.compute.symptoms import FOLLOW_UPS, SYMPTOMS
from coaching.emails.message import NothingToTellError, compose
from coaching.emails.morning import target_words
from coaching.models import Alert, AlertKind, Client, Closing, MailRow, Membership, PainMoment, PainReport
from coaching.reads.urgency import urgency_review_note

SUBJECT = "Urgent: a client needs you now"
WHAT_TO_DO = {
    "emergency": (
        "Reach the client at once. They should stop, load nothing, and call the emergency number or be taken "
        "to an emergency department now. They should not drive themselves."
    ),
    "same_day": (
        "Reach the client today. They should stop, not load the region, and be seen by a doctor or an urgent "
        "care service today. If it gets worse or they feel very ill, they should call the emergency number."
    ),
    "clinician_review": (
        "Do not let this region be trained until a licensed clinician has looked at it. If it gets worse or "
        "anything new comes up, they should stop and call the emergency number."
    ),
}
PAIN_LIMIT_TO_DO = (
    "Speak with the client before they train this site again, and let them stop what brings the pain on. "
    "If it is severe, new or getting worse, send them to a licensed clinician."
)
MEANWHILE = {
    Closing.CLEARED: "A clinician's clearance has been recorded meanwhile.",
    Closing.WITHDRAWN: "It has been withdrawn meanwhile as entered by mistake.",
    Closing.BY_COACH: "It has been closed by a coach meanwhile.",
    Closing.EVIDENCE_GONE: "The evidence has gone meanwhile.",
}
MOMENT_WORDS = {
    PainMoment.BEFORE: "before training",
    PainMoment.DURING: "during training",
    PainMoment.AFTER: "after training",
    PainMoment.NEXT_MORNING: "the morning after training",
    PainMoment.AT_REST: "at rest",
}


@dataclass(frozen=True, slots=True)
class Reported:
    """What the client's own report said."""

    at: str
    pain: int
    moment: str
    note: str
    explanation: str


def urgent_mail(row: MailRow) -> EmailMultiAlternatives:
    """Who, which site, what was reported and what to do; sent even if the alert has been closed meanwhile.

    Raises NothingToTellError if the alert has been erased, its client has withdrawn their consent, or the
    recipient has left.
    """
    alert = (
        Alert.objects.select_related("client__coach__account", "practice")
        .filter(id=row.payload["alert"])
        .first()
    )
    if alert is None:
        raise NothingToTellError("alert_erased")
    if Client.objects.stopped().filter(id=alert.client_id).exists():
        raise NothingToTellError("consent_withdrawn")
    membership = Membership.objects.select_related("account").filter(id=row.payload["membership"]).first()
    if membership is None or membership.left_at is not None:
        raise NothingToTellError("recipient_left")
    emergency_text = alert.client.emergency_text or alert.practice.emergency_text
    is_red_flag = alert.kind == AlertKind.RED_FLAG
    return compose(
        row,
        subject=SUBJECT,
        template="urgent",
        context={
            "title": SUBJECT,
            "alert": alert,
            "client": alert.client,
            "coach_name": membership.account.name,
            "instead_of": "" if membership.id == alert.client.coach_id else alert.client.coach.account.name,
            "matter": "Red flag" if is_red_flag else "Pain limit reached",
            "site": capital(_site(alert)),
            "symptoms": _symptoms(alert),
            "reported": _reported(alert),
            "what_to_do": what_to_do(alert),
            "meanwhile": MEANWHILE.get(Closing(alert.closing)) if alert.closing else "",
            "emergency_text": emergency_text,
            "caution": evidence.CAUTION,
            "refer_out": evidence.refer_out(emergency_text),
            "review_note": urgency_review_note(alert.practice.country) if is_red_flag else "",
        },
        headers={"Importance": "high", "X-Priority": "1"},
    )


def what_to_do(alert: Alert) -> str:
    if alert.kind != AlertKind.RED_FLAG:
        return PAIN_LIMIT_TO_DO
    return WHAT_TO_DO.get(alert.evidence.get("urgency", ""), WHAT_TO_DO["emergency"])


def _site(alert: Alert) -> str:
    report = _report(alert)
    if report is not None and report.other_site:
        return report.other_site
    return target_words(alert.target)


def _symptoms(alert: Alert) -> list[str]:
    """The questions that were answered with yes, as they were asked."""
    asked = {code: row.question for code, row in SYMPTOMS.items()}
    asked |= {code: row.question for code, row in FOLLOW_UPS.items()}
    answered = [code for code in alert.evidence.get("flags", []) if code != PAIN_JUMP_CODE]
    return [asked.get(code, code.replace("_", " ")) for code in answered]


def _report(alert: Alert) -> PainReport | None:
    try:
        uid = uuid.UUID(str(alert.evidence.get("report", "")))
    except ValueError:
        return None
    return PainReport.objects.filter(client=alert.client, uid=uid).first()


def _reported(alert: Alert) -> Reported | None:
    report = _report(alert)
    if report is None:
        return None
    at = report.reported_at.astimezone(ZoneInfo(alert.practice.zone))
    return Reported(
        at=f"{day_words(at.date())} {at.year}, {at:%H:%M}",
        pain=report.pain,
        moment=MOMENT_WORDS[PainMoment(report.moment)],
        note=report.note,
        explanation=report.explanation,
    )
