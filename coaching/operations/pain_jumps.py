"""Pain far above what a site usually has: judged at the post, from the site's own days and reports."""

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import isnan

import numpy as np

from coaching.compute.raised_pain import SPELL_HOURS, USUAL_OF_DAYS, RaisedSpell, raised_spell, usual_pain
from coaching.compute.red_flags import PAIN_JUMP_POINTS, is_pain_jump
from coaching.models import Client, Joint, JointDay, PainMoment, PainReport
from coaching.operations.rollups import MOMENTS_OF_THE_DAY

JUMP_SPEAKS_UP_FOR = timedelta(days=14)
WATCHED_MOMENTS = [*MOMENTS_OF_THE_DAY, PainMoment.AT_REST]

Site = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PainJump:
    """One report's pain beside the usual one, and since when the site's reports lie far above it.

    `usual_pain` is None where too few days are known; `since_at` is the report's own time where it does not
    lie 3 or more above a known level.
    """

    pain: int
    felt_on: date
    usual_pain: float | None
    since_at: datetime


def find_pain_jumps(
    *, client: Client, reports: Sequence[PainReport], today: date
) -> dict[uuid.UUID, PainJump]:
    """Which of these stored reports are a reason for a clinician to look, by the report's uid.

    Two queries for any number of reports; none where no pain reaches 3.
    """
    watched = [row for row in reports if _is_watched(row, today)]
    if not watched:
        return {}
    usual = _usual_pain(client, watched)
    spells = _spells(client, watched, usual)
    is_jump = is_pain_jump(
        np.array([row.pain for row in watched], dtype=np.float64),
        np.array(usual),
        np.array([spell.hours for spell in spells]),
        np.array([bool(row.explanation) for row in watched]),
    )
    return {
        row.uid: _jump(row, level, spell)
        for row, level, spell, is_one in zip(watched, usual, spells, is_jump, strict=True)
        if is_one
    }


def _is_watched(report: PainReport, today: date) -> bool:
    return (
        report.joint != Joint.OTHER
        and report.moment in WATCHED_MOMENTS
        and report.pain >= PAIN_JUMP_POINTS
        and today - report.felt_on <= JUMP_SPEAKS_UP_FOR
    )


def _usual_pain(client: Client, watched: Sequence[PainReport]) -> list[float]:
    """The usual pain before each report's day; nan where too few days are known."""
    felt = [row.felt_on for row in watched]
    before = timedelta(days=USUAL_OF_DAYS)
    rows = JointDay.objects.filter(
        client=client,
        joint__in={row.joint for row in watched},
        day_on__gte=min(felt) - before,
        day_on__lt=max(felt),
        pain__isnull=False,
    ).values_list("joint", "side", "day_on", "pain")
    days: defaultdict[Site, list[tuple[date, int | None]]] = defaultdict(list)
    for joint, side, day_on, pain in rows:
        days[joint, side].append((day_on, pain))
    return [
        usual_pain(
            np.array(
                [
                    pain
                    for day_on, pain in days[row.joint, row.side]
                    if row.felt_on - before <= day_on < row.felt_on
                ],
                dtype=np.float64,
            )
        )
        for row in watched
    ]


def _spells(client: Client, watched: Sequence[PainReport], usual: Sequence[float]) -> list[RaisedSpell]:
    """The raised spell of each report among all of its site's, whatever their moment and order of arrival."""
    margin = timedelta(hours=SPELL_HOURS)
    at = [row.reported_at for row in watched]
    rows = PainReport.objects.filter(
        client=client,
        joint__in={row.joint for row in watched},
        reported_at__range=(min(at) - margin, max(at) + margin),
    ).values_list("joint", "side", "reported_at", "pain", "uid")
    found: defaultdict[Site, list[tuple[datetime, int, uuid.UUID]]] = defaultdict(list)
    for joint, side, reported_at, pain, uid in rows:
        found[joint, side].append((reported_at, pain, uid))
    return [_spell(row, level, found[row.joint, row.side]) for row, level in zip(watched, usual, strict=True)]


def _spell(
    report: PainReport, usual: float, of_site: Sequence[tuple[datetime, int, uuid.UUID]]
) -> RaisedSpell:
    """Hours are counted from the report itself."""
    hours = [(reported_at - report.reported_at) / timedelta(hours=1) for reported_at, _, _ in of_site]
    pain = np.array([pain for _, pain, _ in of_site], dtype=np.float64)
    return raised_spell(np.array(hours), pain, usual, [uid for _, _, uid in of_site].index(report.uid))


def _jump(report: PainReport, usual: float, spell: RaisedSpell) -> PainJump:
    hours_before = timedelta() if isnan(spell.first_hours) else timedelta(hours=spell.first_hours)
    return PainJump(
        pain=report.pain,
        felt_on=report.felt_on,
        usual_pain=None if isnan(usual) else usual,
        since_at=report.reported_at + hours_before,
    )
