"""What stands on a referral's one page, in words; what does not fit is counted, never dropped in silence."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from coaching.charts import capital, day_words, describe_site, kind_words, site_words
from coaching.compute.evidence import CAUTION
from coaching.reads.history import SiteWeeks
from coaching.reads.referrals import (
    ReferralSummary,
    ToldAlert,
    ToldChange,
    ToldInjury,
    ToldRestriction,
)

UNKNOWN = "–"
WEEKS_NOTE = (
    f"{UNKNOWN}: no pain of a training day reported, which is not 0. 0 joint reps: none logged. "
    "Reports: how many pain reports there were."
)
RESTRICTION_WORDS = {"avoid_exercise": "avoid", "avoid_pattern": "avoid the pattern", "limit": "limit:"}
CLOSING_WORDS = {
    "evidence_gone": "no longer found",
    "by_coach": "closed by the coach",
    "cleared": "ended by a clinician's clearance",
    "withdrawn": "withdrawn as entered by mistake",
}
PAGE_CAUTIONS = (
    "Every number here is the client's own report or log, or a coach's entry; none was examined or verified. "
    "Pain is 0 to 10; the pain of a day is the highest of during, after and next morning.",
    "Joint reps are repetitions times what the exercise asks of the joint (0 to 1), which is coach judgement "
    "without a published table behind it. Medication, examinations and images are not recorded here.",
    "The service clears nobody to train: what may be trained is for a licensed clinician to decide. An "
    "alert is no probability of injury, and no alert is no all-clear. Local rules come first.",
)


@dataclass(frozen=True, slots=True)
class Room:
    """What has a place: items of a list, and characters of an item, of a name and of the question."""

    items: int
    characters: int
    names: int = 200
    question: int = 600


@dataclass(frozen=True, slots=True)
class Section:
    """`rest` says how many items have no place, or that there is none at all; empty if all are there."""

    title: str
    items: tuple[str, ...]
    rest: str


@dataclass(frozen=True, slots=True)
class WeekLine:
    week: str
    pain_highest: str
    pain_median: str
    joint_reps: str
    reports: str


@dataclass(frozen=True, slots=True)
class ReferralPage:
    title: str
    written: str
    person: str
    from_whom: str
    consent: str
    question: str
    weeks: tuple[WeekLine, ...]
    weeks_note: str
    picture_words: str
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]


def page_of(summary: ReferralSummary, room: Room) -> ReferralPage:
    """The page with as much of everything as `room` gives."""
    weeks, site = summary.weeks, site_words(summary.weeks.joint, summary.weeks.side)
    sender = [name for name in (summary.referred_by, summary.practice_name) if name]
    emergency = _shortened(summary.emergency_text, room.names)
    return ReferralPage(
        title=f"Training history of the {site}",
        written=f"Written {_day(summary.written_on)}, for a licensed clinician",
        person=_person(summary, room),
        from_whom=f"From {', '.join(_shortened(name, room.names) for name in sender)}",
        consent=_consent(summary),
        question=_shortened(summary.question, room.question),
        weeks=_week_lines(weeks),
        weeks_note=WEEKS_NOTE,
        picture_words=describe_site(weeks),
        sections=_sections(summary, room),
        cautions=(f"{CAUTION} In an emergency call {emergency}.", *PAGE_CAUTIONS),
    )


def _day(day: date) -> str:
    return f"{day_words(day)} {day.year}"


def _person(summary: ReferralSummary, room: Room) -> str:
    born = f"born {_day(summary.birth_on)}" if summary.birth_on else "birth date not recorded"
    return f"{_shortened(summary.client_name, room.names)}, {born}"


def _consent(summary: ReferralSummary) -> str:
    by = "given by the client" if summary.is_consent_by_client else "recorded by a coach for the client"
    return (
        f"Passed on with the client's consent to be referred: text {summary.consent_text_version}, "
        f"{by} on {_day(summary.consent_given_on)}."
    )


def _week_lines(weeks: SiteWeeks) -> tuple[WeekLine, ...]:
    lines = []
    for index, start in enumerate(weeks.week_starts):
        highest, middle = weeks.pain_highest[index], weeks.pain_median[index]
        so_far = " so far" if (weeks.until_on - start).days < 6 else ""
        deload = " (deload)" if weeks.is_deload[index] else ""
        lines.append(
            WeekLine(
                week=f"{start.day} {start:%b} {start.year}{so_far}{deload}",
                pain_highest=UNKNOWN if highest is None else str(highest),
                pain_median=UNKNOWN if middle is None else f"{middle:g}",
                joint_reps=f"{weeks.joint_reps[index]:.0f}",
                reports=str(weeks.reports[index]),
            )
        )
    return tuple(lines)


def _sections(summary: ReferralSummary, room: Room) -> tuple[Section, ...]:
    return (
        _section("Injury history of this site", map(_injury, summary.injuries), room, "None recorded."),
        _section("Standing restrictions", map(_restriction, summary.restrictions), room, "None recorded."),
        _section("Alerts raised for this site", map(_alert, summary.alerts), room, "None."),
        _section(
            "What was changed in training (shared notes only)",
            map(_change, summary.changes),
            room,
            "No shared note.",
        ),
    )


def _section(title: str, said: Iterable[str], room: Room, if_none: str) -> Section:
    items = tuple(said)
    shown = tuple(_shortened(words, room.characters) for words in items[: room.items])
    more = len(items) - len(shown)
    rest = f"and {more} older, left out for want of room" if more else ""
    return Section(title, shown, rest if items else if_none)


def _shortened(words: str, characters: int) -> str:
    words = " ".join(words.split())
    if len(words) <= characters:
        return words
    return f"{words[:characters].rstrip()} ... [shortened]"


def _injury(row: ToldInjury) -> str:
    onset = f"since {_day(row.onset_on)}" if row.onset_on else "onset not recorded"
    told = [f"{capital(row.status.replace('_', ' '))}, {onset}; said by the {row.said_by}: {row.said}"]
    if row.cautions:
        told.append(f"Cautions: {row.cautions}")
    if row.weekly_joint_reps_cap is not None:
        told.append(f"Cap {row.weekly_joint_reps_cap} joint reps a week.")
    if row.pain_limit is not None:
        told.append(f"Pain limit {row.pain_limit} of 10.")
    return " ".join(told)


def _restriction(row: ToldRestriction) -> str:
    until = f" until {_day(row.until_on)}" if row.until_on else ""
    what = f"{capital(RESTRICTION_WORDS[row.kind])} {row.what}"
    return f"{what}, from {_day(row.from_on)}{until}; said by the {row.said_by}"


def _alert(row: ToldAlert) -> str:
    standing = "standing"
    if row.closed_on is not None:
        standing = f"{CLOSING_WORDS.get(row.closing, 'closed')} {_day(row.closed_on)}"
    return f"{_day(row.opened_on)}, {kind_words(row.kind)} ({standing}): {row.sentence}"


def _change(row: ToldChange) -> str:
    reason = f" Reason: {row.reason}" if row.reason else ""
    return f"{_day(row.noted_on)}: {row.changed}{reason}"
