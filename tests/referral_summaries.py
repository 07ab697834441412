"""Invented histories to put before a clinician: a plain one, and the longest that the records hold."""

import uuid
from dataclasses import replace
from datetime import date, timedelta

from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import SiteWeeks, weeks_until
from coaching.reads.referrals import (
    ReferralSummary,
    ToldAlert,
    ToldChange,
    ToldInjury,
    ToldPain,
    ToldRestriction,
)
from tests.factories import NOW

WRITTEN_ON = date(2026, 3, 2)


def site_history() -> SiteWeeks:
    return SiteWeeks(
        joint="knee",
        side="left",
        until_on=WRITTEN_ON,
        week_starts=weeks_until(WRITTEN_ON, 16),
        joint_reps=(*(90.0 + 7 * week for week in range(15)), 24.0),
        joint_load_kg=(3000.0,) * 16,
        pain_highest=(None, 2, 2, 1, 2, 3, 2, None, 3, 3, 4, 4, 5, 5, 6, 5),
        pain_median=(None, 1.0, 1.5, 1.0, 2.0, 2.0, 2.0, None, 2.5, 3.0, 3.0, 4.0, 4.0, 4.5, 5.0, 5.0),
        reports=(0, 6, 6, 5, 6, 6, 7, 0, 6, 6, 6, 6, 6, 6, 6, 2),
        is_deload=(False,) * 7 + (True,) + (False,) * 8,
        alert_openings=(AlertOpening(date(2026, 2, 12), "pain_with_volume"),),
        notes_on=(date(2026, 2, 14),),
    )


def plain_summary(**changes) -> ReferralSummary:
    summary = ReferralSummary(
        uid=uuid.UUID("7d0c6f0e-5d8c-4a57-9a53-0d3c7e9b4b11"),
        client_name="Mira Lift",
        birth_on=date(1980, 2, 29),
        practice_name="Harbour Strength",
        referred_by="Carl Coach",
        written_on=WRITTEN_ON,
        written_at=NOW,
        question="Is the knee fit for deep squats, and if not, what should be avoided?",
        consent_text_version="2026-01",
        consent_given_on=date(2026, 3, 1),
        is_consent_by_client=True,
        emergency_text="112",
        weeks=site_history(),
        injuries=(
            ToldInjury(
                date(2019, 5, 4), "Torn meniscus, trimmed.", "clinician", "active", "No twisting.", 300, 5
            ),
        ),
        restrictions=(ToldRestriction("limit", "No jumping", date(2026, 1, 1), None, "clinician"),),
        alerts=(
            ToldAlert(date(2026, 2, 12), None, "", "pain_with_volume", "Pain of the left knee climbed."),
        ),
        changes=(ToldChange(date(2026, 2, 14), "Leg press instead of squat.", "Pain after squats."),),
        pains=(ToldPain(uuid.UUID(int=5), NOW - timedelta(days=2), date(2026, 2, 28), "after", 5),),
    )
    return replace(summary, **changes)


def longest_summary(letters: str = "W") -> ReferralSummary:
    """Twenty of everything, each as long as its record may be."""

    def filled(length: int) -> str:
        return (letters * length)[:length]

    day = date(2026, 2, 1)
    injury = ToldInjury(day, filled(2000), "clinician", "stopped_by_clinician", filled(2000), 1000, 10)
    return plain_summary(
        client_name=filled(120),
        practice_name=filled(120),
        referred_by=filled(120),
        question=filled(600),
        consent_text_version=filled(40),
        emergency_text=filled(200),
        injuries=(injury,) * 20,
        restrictions=(ToldRestriction("avoid_pattern", filled(200), day, day, "clinician"),) * 20,
        alerts=(ToldAlert(day, day, "cleared", "pain_with_volume", filled(1000)),) * 20,
        changes=(ToldChange(day, filled(2000), filled(2000)),) * 20,
    )
