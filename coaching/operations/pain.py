"""Pain reports: stored with their day, and what cannot wait for the night said at once."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from coaching.compute import evidence
from coaching.compute.findings import PainLimitNumbers
from coaching.compute.pain import DEFAULT_PAIN_LIMIT
from coaching.compute.red_flags import Answer, RedFlagAssessment, assess_symptoms
from coaching.errors import ConflictError, GoneError, InvalidError, NotFoundError
from coaching.models import (
    Actor,
    Alert,
    AlertKind,
    AlertStatus,
    Client,
    Injury,
    MailKind,
    Membership,
    PainMoment,
    PainReport,
    Session,
)
from coaching.operations import rollups
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.audit import record_change, record_reads
from coaching.operations.entries import PainEntry, content_hash
from coaching.operations.mail import enqueue_mail
from coaching.operations.standing import check_may_store, note_post
from coaching.reads.clients import client_for
from coaching.reads.labels import site_label

RED_FLAG_METHOD = "coded_symptoms"
LIMIT_METHOD = "hard_limit"
LIMIT_SPEAKS_UP_FOR = timedelta(days=14)
SEVERITY_OF_URGENCY = {"emergency": 100, "same_day": 95, "clinician_review": 90}
LIMIT_SEVERITY = 80


@dataclass(frozen=True, slots=True)
class UrgentNotice:
    """What must be said in the answer to the post itself."""

    report: PainReport
    kind: str
    codes: tuple[str, ...]
    urgency: str
    instruction: str
    caution: str = evidence.CAUTION


@dataclass(frozen=True, slots=True)
class RecordedPain:
    report: PainReport
    is_new: bool
    urgent: tuple[UrgentNotice, ...] = ()


def record_pain_report(*, actor: Actor, client: Client, entry: PainEntry, now: datetime) -> RecordedPain:
    """Store one pain report under its client-made id. Safe to repeat; other content is a conflict."""
    try:
        return _record_once(actor, client, entry, now)
    except IntegrityError:
        # The same id came in by another request meanwhile: look again, once.
        return _record_once(actor, client, entry, now)


@transaction.atomic
def _record_once(actor: Actor, client: Client, entry: PainEntry, now: datetime) -> RecordedPain:
    check_may_store(client)
    standing = PainReport.objects.filter(practice_id=client.practice_id, uid=entry.uid).first()
    if standing is not None:
        if standing.client_id != client.id or standing.content_hash != content_hash(entry):
            raise ConflictError("Other content stands under this id.")
        return RecordedPain(standing, is_new=False)
    if entry.reported_at > now + timedelta(hours=24) or entry.reported_at.year < 1990:
        raise InvalidError.at("reported_at", "out_of_range", "Before 1990 or more than a day in the future.")
    report = report_row(client=client, entry=entry, session=_session_of(client, entry), now=now)
    store_reports([report])
    rollups.rebuild_days(client=client, days={report.felt_on})
    note_post(client=client, days={report.felt_on}, now=now)
    notices = raise_what_cannot_wait(actor=actor, client=client, reports=[report], now=now)
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="create",
        record_kind="pain_report",
        record_id=str(report.uid),
        now=now,
    )
    return RecordedPain(report, is_new=True, urgent=tuple(notices))


def report_row(*, client: Client, entry: PainEntry, session: Session | None, now: datetime) -> PainReport:
    """The row of an entry; it belongs to its session's day, and a next morning to the day before it."""
    return PainReport(
        practice_id=client.practice_id,
        uid=entry.uid,
        client=client,
        session=session,
        joint=entry.joint,
        side=entry.side,
        other_site=entry.other_site,
        moment=entry.moment,
        pain=entry.pain,
        symptoms=entry.symptoms,
        note=entry.note,
        reported_at=entry.reported_at,
        felt_on=session.performed_on if session else _felt_on(client, entry),
        content_hash=content_hash(entry),
        received_at=now,
    )


def store_reports(reports: Sequence[PainReport]) -> None:
    """Insert the reports. Raises ConflictError when an id is used elsewhere."""
    if not reports:
        return
    uids = [row.uid for row in reports]
    taken = PainReport.objects.filter(practice_id=reports[0].practice_id, uid__in=uids)
    if len(set(uids)) != len(uids) or taken.exists():
        raise ConflictError("The id of a pain report is used elsewhere.")
    PainReport.objects.bulk_create(reports)


def raise_what_cannot_wait(
    *, actor: Actor, client: Client, reports: Iterable[PainReport], now: datetime
) -> list[UrgentNotice]:
    """Open or update red-flag and pain-limit alerts for what was just reported, with their urgent mail."""
    today = now.astimezone(ZoneInfo(client.practice.zone)).date()
    limits: dict[str, int] | None = None
    notices: list[UrgentNotice] = []
    for report in reports:
        assessment = _assess(report, client)
        if assessment is not None:
            notices.append(_raise_red_flag(client, report, assessment, today, now))
        limits = limits_of(client) if limits is None else limits
        if _passes_limit(report, limits, today):
            notices.append(_raise_limit(client, report, limits, today, now))
    return notices


def limits_of(client: Client) -> dict[str, int]:
    """Each guarded site's own pain limit, the strictest where several entries name one."""
    found: dict[str, int] = {}
    rows = Injury.objects.filter(client=client, pain_limit__isnull=False)
    for row in rows:
        found[row.target] = min(row.pain_limit or DEFAULT_PAIN_LIMIT, found.get(row.target, 10))
    return found


def pain_report_for(actor: Actor, report_uid: uuid.UUID) -> PainReport:
    """The report, if the actor may see its client. Raises NotFoundError."""
    report = (
        PainReport.objects.filter(
            practice_id=actor.practice_id, uid=report_uid, client__in=Client.objects.visible_to(actor)
        )
        .select_related("client", "session")
        .first()
    )
    if report is None:
        raise NotFoundError("There is no such pain report.")
    return report


def read_pain_report(*, actor: Actor, report_uid: uuid.UUID, now: datetime) -> PainReport:
    """The report, with the reading on the audit trail. Raises NotFoundError."""
    report = pain_report_for(actor, report_uid)
    record_reads(actor=actor, subject_keys=[report.client.audit_key], record_kind="pain_report", now=now)
    return report


def read_pain_reports(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> QuerySet[PainReport]:
    """A client's reports, with the reading on the audit trail. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="pain_report", now=now)
    return PainReport.objects.filter(client=client)


def _session_of(client: Client, entry: PainEntry) -> Session | None:
    if entry.session_uid is None:
        return None
    session = Session.objects.filter(
        practice_id=client.practice_id, client=client, uid=entry.session_uid
    ).first()
    if session is None:
        raise InvalidError.at("session", "unknown", "There is no such session.")
    if session.deleted_at is not None:
        raise GoneError("The session of this report has been deleted.")
    return session


def _felt_on(client: Client, entry: PainEntry) -> date:
    day = entry.reported_at.astimezone(ZoneInfo(client.zone)).date()
    return day - timedelta(days=1) if entry.moment == PainMoment.NEXT_MORNING else day


def _assess(report: PainReport, client: Client) -> RedFlagAssessment | None:
    answers = {code: Answer(answer) for code, answer in report.symptoms.items()}
    assessment = assess_symptoms(answers, emergency_number=client.emergency_text)
    return assessment if assessment.flags else None


def _passes_limit(report: PainReport, limits: dict[str, int], today: date) -> bool:
    if report.moment not in rollups.MOMENTS_OF_THE_DAY or (today - report.felt_on) > LIMIT_SPEAKS_UP_FOR:
        return False
    return report.pain >= limits.get(_target(report), DEFAULT_PAIN_LIMIT)


def _target(report: PainReport) -> str:
    return f"{report.joint}:{report.side}"


def _raise_red_flag(
    client: Client, report: PainReport, assessment: RedFlagAssessment, today: date, now: datetime
) -> UrgentNotice:
    """Open the site's red flag, or add what is new to the one that stands; a new symptom is mailed again."""
    target = _target(report)
    standing = Alert.objects.filter(client=client, kind=AlertKind.RED_FLAG, target=target).standing().first()
    known = standing.evidence.get("flags", []) if standing else []
    codes = [flag.code for flag in assessment.flags]
    flags = sorted({*known, *codes})
    severity = max(SEVERITY_OF_URGENCY[assessment.urgency.value], standing.severity if standing else 0)
    finding = Finding(
        client_id=client.id,
        kind=AlertKind.RED_FLAG,
        target=target,
        severity=severity,
        sentence=_red_flag_sentence(target, flags, assessment.urgency.value, report.felt_on),
        evidence={"flags": flags, "urgency": assessment.urgency.value, "report": str(report.uid)},
        method=f"{RED_FLAG_METHOD} {assessment.version}",
    )
    alert = _apply(client, finding, today, now)
    if set(codes) - set(known):
        if alert.status == AlertStatus.ACKNOWLEDGED:
            alert.status = AlertStatus.OPEN
            alert.save(update_fields=["status"])
        _mail_at_once(client, alert, "-".join(flags), today, now)
    return UrgentNotice(
        report, AlertKind.RED_FLAG, tuple(codes), assessment.urgency.value, assessment.instruction
    )


def _red_flag_sentence(target: str, symptoms: list[str], urgency: str, felt_on: date) -> str:
    """What was reported, in the client's own coded words; no suspicion is named."""
    what = ", ".join(code.replace("_", " ") for code in symptoms)
    need = {
        "emergency": "This is a matter for the emergency services now",
        "same_day": "This is a matter for a doctor today",
    }.get(urgency, "This is a matter for a licensed clinician before the region is trained again")
    return f"Reported for {felt_on} ({site_label(target)}): {what}. {need}; no training advice is given."


def _raise_limit(
    client: Client, report: PainReport, limits: dict[str, int], today: date, now: datetime
) -> UrgentNotice:
    target = _target(report)
    limit = limits.get(target, DEFAULT_PAIN_LIMIT)
    found = PainLimitNumbers(on=report.felt_on, pain=report.pain, limit=limit, n_days=1, recent_days=1)
    finding = Finding(
        client_id=client.id,
        kind=AlertKind.PAIN_LIMIT,
        target=target,
        severity=LIMIT_SEVERITY,
        sentence=evidence.sentence(AlertKind.PAIN_LIMIT, site_label(target), found),
        evidence={
            "pain": report.pain,
            "limit": limit,
            "felt_on": str(report.felt_on),
            "report": str(report.uid),
        },
        method=f"{LIMIT_METHOD} 1",
        pain_level=float(report.pain),
    )
    standing = Alert.objects.filter(client=client, kind=finding.kind, target=target).standing().first()
    alert = _apply(client, finding, today, now)
    if standing is None or report.pain > standing.evidence.get("pain", 0):
        _mail_at_once(client, alert, f"limit-{report.pain}", today, now)
    return UrgentNotice(
        report, AlertKind.PAIN_LIMIT, (), "clinician_review", evidence.refer_out(client.emergency_text)
    )


def _apply(client: Client, finding: Finding, today: date, now: datetime) -> Alert:
    apply_findings(
        practice_id=client.practice_id,
        client_ids=[client.id],
        findings=[finding],
        kinds=[finding.kind],
        on=today,
        now=now,
    )
    rows = Alert.objects.filter(client=client, kind=finding.kind, target=finding.target)
    return rows.latest("id")


def _mail_at_once(client: Client, alert: Alert, what: str, today: date, now: datetime) -> None:
    """One urgent mail per alert and matter to the coach, and to the cover while the coach is away."""
    for membership in responsible_for(client, today):
        enqueue_mail(
            practice_id=client.practice_id,
            kind=MailKind.URGENT,
            recipient=membership.account.email,
            key=f"urgent:{alert.uid}:{what}:{membership.uid}"[:200],
            payload={"alert": alert.id, "membership": membership.id},
            now=now,
        )


def responsible_for(client: Client, today: date) -> list[Membership]:
    """The coach, and the colleague who covers while the coach is away."""
    coach = Membership.objects.select_related("account", "cover__account").get(id=client.coach_id)
    if coach.is_away(today) and coach.cover is not None and coach.cover.left_at is None:
        return [coach, coach.cover]
    return [coach]
