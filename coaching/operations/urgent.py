"""What cannot wait for the night: red flags and passed pain limits, told, alerted and mailed at once."""

import hashlib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from coaching.compute import evidence
from coaching.compute.asks import RED_FLAG_ASKS, limit_asks
from coaching.compute.findings import PainLimitNumbers
from coaching.compute.pain import DEFAULT_PAIN_LIMIT
from coaching.compute.red_flags import PAIN_JUMP_CODE, Answer, RedFlagAssessment, assess_symptoms
from coaching.models import (
    Alert,
    AlertKind,
    AlertStatus,
    Client,
    MailKind,
    Membership,
    PainReport,
    Role,
    Session,
    WebhookEvent,
)
from coaching.models.scope import across_practices, within_practice
from coaching.models.statements import asked
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.mail import enqueue_mail
from coaching.operations.pain_jumps import PainJump, find_pain_jumps
from coaching.operations.rollups import MOMENTS_OF_THE_DAY
from coaching.operations.webhook_rows import AlertEvent, tell_webhooks
from coaching.reads.labels import site_label

RED_FLAG_METHOD = "coded_symptoms"
LIMIT_METHOD = "hard_limit"
LIMIT_SPEAKS_UP_FOR = timedelta(days=14)
UNREAD_FOR = timedelta(hours=4)
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
class _Judged:
    """What one report is a reason for: a red flag, a passed limit, both or neither."""

    report: PainReport
    assessment: RedFlagAssessment | None
    jump: PainJump | None
    passes_limit: bool
    limits: dict[str, int]


def raise_what_cannot_wait(
    *, client: Client, reports: Sequence[PainReport], now: datetime
) -> list[UrgentNotice]:
    """Open or update red-flag and pain-limit alerts for what was just reported, with their urgent mail."""
    today = _today(client, now)
    notices: list[UrgentNotice] = []
    for judged in _judge(client, reports, today):
        if judged.assessment is not None:
            _raise_red_flag(client, judged.report, judged.assessment, judged.jump, today, now)
        if judged.passes_limit:
            _raise_limit(client, judged.report, judged.limits, today, now)
        notices += _notices_of(client, judged)
    return notices


def say_again(*, client: Client, reports: Sequence[PainReport], now: datetime) -> list[UrgentNotice]:
    """What is to be said of stored reports to a device that sends them again; writes nothing.

    It repeats what was not answered, so nobody may have read the words yet.
    """
    judged = _judge(client, reports, _today(client, now))
    return [notice for each in judged for notice in _notices_of(client, each)]


def said_again_by_session(
    *, client: Client, sessions: Collection[Session], now: datetime
) -> dict[int, tuple[UrgentNotice, ...]]:
    """`say_again` for all that these sessions hold, by the session's number."""
    if not sessions:
        return {}
    reports = PainReport.objects.filter(client=client, session__in=sessions).order_by("id")
    return by_session(say_again(client=client, reports=list(reports), now=now))


def by_session(notices: Iterable[UrgentNotice]) -> dict[int, tuple[UrgentNotice, ...]]:
    found: dict[int, tuple[UrgentNotice, ...]] = {}
    for notice in notices:
        key = notice.report.session_id or 0
        found[key] = (*found.get(key, ()), notice)
    return found


def _today(client: Client, now: datetime) -> date:
    return now.astimezone(ZoneInfo(client.practice.zone)).date()


def _judge(client: Client, reports: Sequence[PainReport], today: date) -> list[_Judged]:
    if not reports:
        return []
    jumps = find_pain_jumps(client=client, reports=reports, today=today)
    limits = limits_of(client)
    return [
        _Judged(
            report,
            _assess(report, client, jumps.get(report.uid)),
            jumps.get(report.uid),
            _passes_limit(report, limits, today),
            limits,
        )
        for report in reports
    ]


def _notices_of(client: Client, judged: _Judged) -> list[UrgentNotice]:
    notices = []
    if judged.assessment is not None:
        codes = tuple(flag.code for flag in judged.assessment.flags)
        urgency, instruction = judged.assessment.urgency.value, judged.assessment.instruction
        notices.append(UrgentNotice(judged.report, AlertKind.RED_FLAG, codes, urgency, instruction))
    if judged.passes_limit:
        instruction = evidence.refer_out(client.emergency_text)
        notices.append(UrgentNotice(judged.report, AlertKind.PAIN_LIMIT, (), "clinician_review", instruction))
    return notices


def limits_of(client: Client) -> dict[str, int]:
    """Each guarded site's own pain limit, the strictest where several entries name one."""
    found: dict[str, int] = {}
    for joint, side, limit in asked(LIMITS, [client.practice_id, client.id]):
        target = f"{joint}:{side}"
        found[target] = min(limit or DEFAULT_PAIN_LIMIT, found.get(target, 10))
    return found


LIMITS = (
    "SELECT joint, side, pain_limit FROM coaching_injury "
    "WHERE practice_id = %s AND client_id = %s AND pain_limit IS NOT NULL"
)


def _assess(report: PainReport, client: Client, jump: PainJump | None) -> RedFlagAssessment | None:
    answers = {code: Answer(answer) for code, answer in report.symptoms.items()}
    if jump is not None:
        answers[PAIN_JUMP_CODE] = Answer.YES
    assessment = assess_symptoms(answers, emergency_number=client.emergency_text)
    return assessment if assessment.flags else None


def _passes_limit(report: PainReport, limits: dict[str, int], today: date) -> bool:
    if report.moment not in MOMENTS_OF_THE_DAY or (today - report.felt_on) > LIMIT_SPEAKS_UP_FOR:
        return False
    return report.pain >= limits.get(_target(report), DEFAULT_PAIN_LIMIT)


def _target(report: PainReport) -> str:
    return f"{report.joint}:{report.side}"


def _raise_red_flag(
    client: Client,
    report: PainReport,
    assessment: RedFlagAssessment,
    jump: PainJump | None,
    today: date,
    now: datetime,
) -> None:
    """Open the site's red flag, or add what is new to the one that stands; what is worse is mailed again."""
    target = _target(report)
    standing = Alert.objects.filter(client=client, kind=AlertKind.RED_FLAG, target=target).standing().first()
    known = standing.evidence.get("flags", []) if standing else []
    codes = [flag.code for flag in assessment.flags]
    finding = _red_flag(client, report, assessment, jump, standing)
    flags, urgency = finding.evidence["flags"], finding.evidence["urgency"]
    alert = _apply(client, finding, today, now)
    if alert.withdrawal_asked_at is not None:
        # Who says it again takes back that it was a mistake.
        alert.withdrawal_asked_at = None
        alert.save(update_fields=["withdrawal_asked_at"])
    was_urgent = standing.evidence.get("urgency", urgency) if standing else urgency
    if set(codes) - set(known) or urgency != was_urgent:
        if alert.status == AlertStatus.ACKNOWLEDGED:
            alert.status = AlertStatus.OPEN
            alert.save(update_fields=["status"])
        if standing is not None:
            _tell_that_it_is_worse(alert, now)
        _mail_at_once(client, alert, f"{urgency}:{'-'.join(flags)}", today, now)


def _red_flag(
    client: Client,
    report: PainReport,
    assessment: RedFlagAssessment,
    jump: PainJump | None,
    standing: Alert | None,
) -> Finding:
    """What the report adds to what stands already."""
    before, felt_on = standing.evidence if standing else {}, str(report.felt_on)
    flags = sorted({*before.get("flags", []), *(flag.code for flag in assessment.flags)})
    urgency = _highest_urgency(assessment, standing)
    jump_numbers = _newer_jump(before.get(PAIN_JUMP_CODE), jump, client)
    methods = [RED_FLAG_METHOD] if set(flags) - {PAIN_JUMP_CODE} else []
    methods += [PAIN_JUMP_CODE] if PAIN_JUMP_CODE in flags else []
    numbers = {PAIN_JUMP_CODE: jump_numbers} if jump_numbers else {}
    return Finding(
        client_id=client.id,
        kind=AlertKind.RED_FLAG,
        target=_target(report),
        severity=SEVERITY_OF_URGENCY[urgency],
        sentence=_red_flag_sentence(_target(report), flags, urgency, report.felt_on, jump_numbers),
        evidence={
            "flags": flags,
            "urgency": urgency,
            "from_on": min(before.get("from_on", felt_on), felt_on),
            "to_on": max(before.get("to_on", felt_on), felt_on),
            "report": str(report.uid),
            "worth_asking": list(RED_FLAG_ASKS),
        }
        | numbers,
        method=f"{' and '.join(methods)} {assessment.version}",
    )


def _newer_jump(known: dict[str, Any] | None, jump: PainJump | None, client: Client) -> dict[str, Any] | None:
    """The numbers of the newest jump, which a report that comes in late does not replace."""
    if jump is None or (known and known["felt_on"] > str(jump.felt_on)):
        return known
    since_at = jump.since_at.astimezone(ZoneInfo(client.zone))
    return {
        "pain": jump.pain,
        "felt_on": str(jump.felt_on),
        "usual_pain": jump.usual_pain,
        "since_at": since_at.isoformat(timespec="minutes"),
    }


def _highest_urgency(assessment: RedFlagAssessment, standing: Alert | None) -> str:
    """What was urgent stays urgent: a later, milder symptom of the same site lowers nothing."""
    new = assessment.urgency.value
    known = str(standing.evidence.get("urgency", new)) if standing else new
    return max(new, known, key=lambda urgency: SEVERITY_OF_URGENCY.get(urgency, 0))


def _red_flag_sentence(
    target: str, symptoms: list[str], urgency: str, felt_on: date, jump: dict[str, Any] | None
) -> str:
    """What was reported, in the client's own coded words and numbers; no suspicion is named."""
    what = ", ".join(
        _jump_words(jump) if jump and code == PAIN_JUMP_CODE else code.replace("_", " ") for code in symptoms
    )
    need = {
        "emergency": "This is a matter for the emergency services now",
        "same_day": "This is a matter for a doctor today",
    }.get(urgency, "This is a matter for a licensed clinician before the region is trained again")
    return f"Reported for {felt_on} ({site_label(target)}): {what}. {need}; no training advice is given."


def _jump_words(jump: dict[str, Any]) -> str:
    usual = jump["usual_pain"]
    level = "with no usual level known yet" if usual is None else f"where {usual:g} is usual"
    since = jump["since_at"][:16].replace("T", " ")
    return f"pain {jump['pain']} of 10 on {jump['felt_on']} {level}, so high since {since}"


def _raise_limit(
    client: Client, report: PainReport, limits: dict[str, int], today: date, now: datetime
) -> None:
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
            "from_on": str(report.felt_on),
            "to_on": str(report.felt_on),
            "report": str(report.uid),
            "worth_asking": list(limit_asks(site_label(target), report.felt_on)),
        },
        method=f"{LIMIT_METHOD} 1",
        pain_level=float(report.pain),
    )
    before = Alert.objects.filter(client=client, kind=finding.kind, target=target).order_by("id").last()
    alert = _apply(client, finding, today, now)
    # One closed by hand stays closed and is mailed about again only when it gets worse.
    if before is None or before.id != alert.id or report.pain > before.evidence.get("pain", 0):
        if alert.status == AlertStatus.PUT_OFF:
            alert.status = AlertStatus.OPEN
            alert.save(update_fields=["status"])
        if before is not None and before.id == alert.id and alert.status != AlertStatus.CLOSED:
            _tell_that_it_is_worse(alert, now)
        _mail_at_once(client, alert, f"limit-{report.pain}", today, now)


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
    matter = hashlib.sha256(what.encode()).hexdigest()[:16]
    for membership in responsible_for(client, today):
        enqueue_mail(
            practice_id=client.practice_id,
            kind=MailKind.URGENT,
            recipient=membership.account.email,
            key=f"urgent:{alert.uid}:{matter}:{membership.uid}",
            payload={"alert": alert.id, "membership": membership.id},
            now=now,
        )


def _tell_that_it_is_worse(alert: Alert, now: datetime) -> None:
    told = [AlertEvent(alert, WebhookEvent.ALERT_WORSENED)]
    tell_webhooks(practice_id=alert.practice_id, told=told, now=now)


def remind_of_unread_red_flags(*, now: datetime) -> int:
    """Mail the owners and the cover about red flags that nobody has acknowledged in time; safe to repeat."""
    unread = _unread_red_flags(now)
    for alert in unread:
        with within_practice(alert.practice_id):
            _remind_of(alert, now)
    return len(unread)


@across_practices("which red flags nobody has read")
def _unread_red_flags(now: datetime) -> list[Alert]:
    rows = Alert.objects.filter(
        kind=AlertKind.RED_FLAG,
        status=AlertStatus.OPEN,
        opened_at__lte=now - UNREAD_FOR,
        client__in=Client.objects.processed(),
        practice__closed_at__isnull=True,
    )
    return list(rows.select_related("client__coach__cover__account"))


def _remind_of(alert: Alert, now: datetime) -> None:
    owners = Membership.objects.filter(practice_id=alert.practice_id, role=Role.OWNER, left_at__isnull=True)
    cover = alert.client.coach.cover
    for membership in {*owners.select_related("account"), *([cover] if cover else [])}:
        enqueue_mail(
            practice_id=alert.practice_id,
            kind=MailKind.URGENT,
            recipient=membership.account.email,
            key=f"unread:{alert.uid}:{membership.uid}",
            payload={"alert": alert.id, "membership": membership.id},
            now=now,
        )


def responsible_for(client: Client, today: date) -> list[Membership]:
    """The coach, and the colleague who covers while the coach is away."""
    coach = Membership.objects.select_related("account", "cover__account").get(id=client.coach_id)
    if coach.is_away(today) and coach.cover is not None and coach.cover.left_at is None:
        return [coach, coach.cover]
    return [coach]
