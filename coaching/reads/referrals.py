"""What a clinician is shown of one site: the records behind a referral, up to the day it was written."""

import hashlib
import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from coaching.errors import NotFoundError
from coaching.models import Alert, Client, Injury, InterventionNote, PainReport, Referral, Restriction
from coaching.models.base import ListQuerySet
from coaching.reads.clients import local_today
from coaching.reads.history import SiteWeeks, site_weeks

WEEKS = 16


@dataclass(frozen=True, slots=True)
class ToldInjury:
    onset_on: date | None
    said: str
    said_by: str
    status: str
    cautions: str
    weekly_joint_reps_cap: int | None
    pain_limit: int | None


@dataclass(frozen=True, slots=True)
class ToldRestriction:
    """`what` is an exercise's name, a movement pattern or the limit in words."""

    kind: str
    what: str
    from_on: date
    until_on: date | None
    said_by: str


@dataclass(frozen=True, slots=True)
class ToldAlert:
    opened_on: date
    closed_on: date | None
    closing: str
    kind: str
    sentence: str


@dataclass(frozen=True, slots=True)
class ToldChange:
    """A coach's intervention note that is shared; private ones are never told."""

    noted_on: date
    changed: str
    reason: str


@dataclass(frozen=True, slots=True)
class ToldPain:
    uid: uuid.UUID
    reported_at: datetime
    felt_on: date
    moment: str
    pain: int


@dataclass(frozen=True, slots=True)
class ReferralSummary:
    """Newest first in every list but `pains`, which run with the weeks."""

    uid: uuid.UUID
    client_name: str
    birth_on: date | None
    practice_name: str
    referred_by: str
    written_on: date
    written_at: datetime
    question: str
    consent_text_version: str
    consent_given_on: date
    is_consent_by_client: bool
    emergency_text: str
    weeks: SiteWeeks
    injuries: tuple[ToldInjury, ...]
    restrictions: tuple[ToldRestriction, ...]
    alerts: tuple[ToldAlert, ...]
    changes: tuple[ToldChange, ...]
    pains: tuple[ToldPain, ...]


def referrals_of(client: Client) -> ListQuerySet[Referral]:
    return Referral.objects.filter(client=client).select_related("consent", "referred_by")


def referral_of(client: Client, referral_uid: uuid.UUID) -> Referral:
    """Raises NotFoundError."""
    found = referrals_of(client).filter(uid=referral_uid).first()
    if found is None:
        raise NotFoundError("There is no such referral.")
    return found


def referral_summary(client: Client, referral: Referral) -> ReferralSummary:
    """The records as they stand now, none newer than the referral's day; the queries are constant."""
    consent = referral.consent
    weeks = site_weeks(client.id, referral.joint, referral.side, referral.until_on, WEEKS, with_private=False)
    return ReferralSummary(
        uid=referral.uid,
        client_name=client.name,
        birth_on=client.birth_on,
        practice_name=client.practice.name,
        referred_by=referral.referred_by.name if referral.referred_by else "",
        written_on=referral.until_on,
        written_at=referral.created_at,
        question=referral.question,
        consent_text_version=consent.text_version,
        consent_given_on=local_today(client, consent.given_at),
        is_consent_by_client=client.account_id is not None and consent.recorded_by_id == client.account_id,
        emergency_text=client.emergency_text,
        weeks=weeks,
        injuries=_injuries(referral),
        restrictions=_restrictions(referral),
        alerts=_alerts(referral),
        changes=_changes(referral),
        pains=_pains(referral, weeks.week_starts[0]),
    )


def summary_tag(summary: ReferralSummary) -> str:
    """A digest of everything in it: the same tag means the same summary."""
    return hashlib.sha256(repr(summary).encode()).hexdigest()[:32]


def _site(referral: Referral) -> dict[str, str]:
    return {"joint": referral.joint, "side": referral.side}


def _injuries(referral: Referral) -> tuple[ToldInjury, ...]:
    rows = Injury.objects.filter(
        client_id=referral.client_id, created_at__lte=referral.created_at, **_site(referral)
    )
    return tuple(
        ToldInjury(
            row.onset_on,
            row.said,
            row.said_by,
            row.status,
            row.cautions,
            row.weekly_joint_reps_cap,
            row.pain_limit,
        )
        for row in rows.order_by("-created_at", "-id")
    )


def _restrictions(referral: Referral) -> tuple[ToldRestriction, ...]:
    site = {f"injury__{name}": value for name, value in _site(referral).items()}
    rows = (
        Restriction.objects.standing(referral.until_on)
        .filter(injury__client_id=referral.client_id, **site)
        .select_related("exercise")
        .order_by("-from_on", "-id")
    )
    return tuple(
        ToldRestriction(row.kind, _restricted(row), row.from_on, row.until_on, row.said_by) for row in rows
    )


def _restricted(row: Restriction) -> str:
    return row.exercise.name if row.exercise else row.movement_pattern.replace("_", " ") or row.limit


def _alerts(referral: Referral) -> tuple[ToldAlert, ...]:
    """Those of the site; the night that has seen the referral's day opens them on the next."""
    rows = Alert.objects.filter(
        client_id=referral.client_id,
        target=f"{referral.joint}:{referral.side}",
        opened_on__lte=referral.until_on + timedelta(days=1),
    )
    return tuple(
        ToldAlert(row.opened_on, row.closed_on, row.closing, row.kind, row.sentence)
        for row in rows.order_by("-opened_on", "-id")
    )


def _changes(referral: Referral) -> tuple[ToldChange, ...]:
    rows = InterventionNote.objects.filter(
        client_id=referral.client_id, is_shared=True, noted_on__lte=referral.until_on, **_site(referral)
    )
    return tuple(
        ToldChange(row.noted_on, row.changed, row.reason) for row in rows.order_by("-noted_on", "-id")
    )


def _pains(referral: Referral, first_on: date) -> tuple[ToldPain, ...]:
    rows = PainReport.objects.filter(
        client_id=referral.client_id, felt_on__range=(first_on, referral.until_on), **_site(referral)
    )
    return tuple(
        ToldPain(row.uid, row.reported_at, row.felt_on, row.moment, row.pain)
        for row in rows.order_by("reported_at", "id")
    )
