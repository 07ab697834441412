"""The morning mail: the morning sheet of one coach, with a picture and the numbers of every painful site."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import quote

from django.core.mail import EmailMultiAlternatives

from coaching.charts import capital, day_words, describe_site, draw_site, kind_words, site_words
from coaching.emails.message import NothingToTellError, Picture, compose, sender_address, sender_domain
from coaching.models import PAIN_KINDS, AlertStatus, Client, Joint, MailRow, Membership, SiteSide
from coaching.reads.history import SiteKey, SiteWeeks, sites_weeks
from coaching.reads.sheet import MorningSheet, morning_sheet
from coaching.reads.sheet_lines import BEYOND_THE_FIRST, SheetEntry, SheetLine

PICTURES_AT_MOST = 12  # the worst first; more would make the mail too heavy for a phone
WEEKS_IN_TABLE = 6


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One week of a site as the mail's table shows it; empty where nothing is known."""

    start: str
    joint_reps: str
    pain_highest: str
    pain_median: str
    reports: int
    is_deload: bool


@dataclass(frozen=True, slots=True)
class MailLine:
    """One alert of the sheet; its site's picture and numbers stand with the first alert of that site."""

    line: SheetLine
    heading: str
    asks: tuple[str, ...]
    weeks: tuple[WeekRow, ...]
    picture: Picture | None
    is_shown_above: bool


@dataclass(frozen=True, slots=True)
class MailEntry:
    client_name: str
    coach_name: str
    lines: tuple[MailLine, ...]


@dataclass(frozen=True, slots=True)
class FoldedLine:
    """What the mail says of a line that may be chance: whose it is and what it is about."""

    client_name: str
    heading: str


@dataclass(frozen=True, slots=True)
class MailExpiry:
    client_name: str
    site: str
    kind: str
    until_on: date


def morning_mail(row: MailRow) -> EmailMultiAlternatives:
    """The sheet as it stands when the mail is sent. Raises NothingToTellError if nobody wants it any more."""
    membership = (
        Membership.objects.select_related("practice", "account").filter(id=row.payload["membership"]).first()
    )
    if membership is None or membership.left_at is not None:
        raise NothingToTellError("recipient_left")
    if not membership.wants_digest:
        raise NothingToTellError("unsubscribed")
    sheet = morning_sheet(membership=membership, on=date.fromisoformat(row.payload["on"]))
    entries = _entries(sheet, membership.practice_id)
    return compose(
        row,
        subject=subject_of(sheet),
        template="morning",
        context={
            "sheet": sheet,
            "title": f"Morning sheet {day_words(sheet.sheet_on)}",
            "summary": capital(summary_of(sheet)),
            "day": f"{sheet.sheet_on:%A} {day_words(sheet.sheet_on)} {sheet.sheet_on.year}",
            "last_night": day_words(sheet.last_night_on) if sheet.last_night_on else "",
            "is_night_late": sheet.last_night_on is not None and sheet.last_night_on < sheet.sheet_on,
            "entries": entries,
            "news": news_of(sheet),
            "more": _more(sheet),
            "chance": _chance(sheet),
            "expiring": [
                MailExpiry(
                    each.client_name,
                    site_words(each.joint, each.side),
                    each.kind.replace("_", " "),
                    each.until_on,
                )
                for each in sheet.expiring
            ],
            "acknowledged": AlertStatus.ACKNOWLEDGED,
        },
        pictures=[line.picture for entry in entries for line in entry.lines if line.picture],
        headers={"List-Unsubscribe": _unsubscribe(membership.uid)},
    )


def subject_of(sheet: MorningSheet) -> str:
    """Says how many, never who or what: subjects are shown on locked screens."""
    return f"Morning sheet {day_words(sheet.sheet_on)}: {summary_of(sheet)}"


def summary_of(sheet: MorningSheet) -> str:
    attention = sum(entry.needs_attention for entry in sheet.entries)
    unscored = len(sheet.unscored)
    needs = f"{attention} client{' needs' if attention == 1 else 's need'} attention"
    not_scored = f"{unscored} client{'' if unscored == 1 else 's'} could not be scored"
    if attention and unscored:
        return f"{needs}, {not_scored}"
    return needs if attention else not_scored if unscored else "nobody needs attention"


def news_of(sheet: MorningSheet) -> str:
    """What the morning announces: what is new, and what has become worse since somebody read it."""
    parts = []
    if sheet.alerts_new:
        parts.append(f"{sheet.alerts_new} new this morning")
    if sheet.alerts_worse:
        parts.append(f"{sheet.alerts_worse} worse than when it was read or put off")
    return f"{capital(', '.join(parts))}." if parts else ""


def _more(sheet: MorningSheet) -> str:
    """How much more there is beyond the first ten lines, and about whom."""
    names = [
        entry.client_name
        for entry in sheet.entries
        if any(line.folded_because == BEYOND_THE_FIRST for line in entry.lines)
    ]
    if not names:
        return ""
    number = sheet.lines_beyond
    stand = "line stands" if number == 1 else "lines stand"
    return f"{number} more {stand} on the sheet, less urgent than these, about: {', '.join(names)}."


def _chance(sheet: MorningSheet) -> tuple[FoldedLine, ...]:
    return tuple(
        FoldedLine(entry.client_name, _heading(line))
        for entry in sheet.entries
        for line in entry.lines
        if line.may_be_chance
    )


def _entries(sheet: MorningSheet, practice_id: int) -> tuple[MailEntry, ...]:
    keys = _site_keys(sheet, practice_id)
    histories = sites_weeks(set(keys.values()), sheet.sheet_on - timedelta(days=1)) if keys else {}
    drawn: dict[SiteKey, Picture | None] = {}
    entries: list[MailEntry] = []
    for entry in _shown(sheet):
        lines = tuple(
            _line(line, asks, keys.get(line.alert_uid), histories, drawn)
            for line, asks in zip(entry.lines_shown, entry.asks_shown, strict=True)
        )
        coach_name = entry.coach_name if entry.coach_name != sheet.coach_name else ""
        entries.append(MailEntry(entry.client_name, coach_name, lines))
    return tuple(entries)


def _shown(sheet: MorningSheet) -> list[SheetEntry]:
    """Those with a line among the first ten; the mail leaves the others to the sheet."""
    return [entry for entry in sheet.entries if entry.lines_shown]


def _site_keys(sheet: MorningSheet, practice_id: int) -> dict[uuid.UUID, SiteKey]:
    """Alert id -> the site that its picture shows; alerts without a trended site are left out."""
    uids = [entry.client_uid for entry in _shown(sheet)]
    ids = dict(Client.objects.filter(practice_id=practice_id, uid__in=uids).values_list("uid", "id"))
    return {
        line.alert_uid: SiteKey(ids[entry.client_uid], *site)
        for entry in _shown(sheet)
        for line in entry.lines_shown
        if line.kind in PAIN_KINDS and (site := _trended_site(line.target)) is not None
    }


def _trended_site(target: str) -> tuple[str, str] | None:
    joint, _, side = target.partition(":")
    is_trended = joint in Joint.values and joint != Joint.OTHER and side in SiteSide.values
    return (joint, side) if is_trended else None


def _line(
    line: SheetLine,
    asks: tuple[str, ...],
    key: SiteKey | None,
    histories: dict[SiteKey, SiteWeeks],
    drawn: dict[SiteKey, Picture | None],
) -> MailLine:
    heading = _heading(line)
    if key is None or key in drawn:
        return MailLine(line, heading, asks, (), None, is_shown_above=key is not None)
    drawn[key] = picture = _picture(histories[key], len(drawn) + 1) if len(drawn) < PICTURES_AT_MOST else None
    return MailLine(line, heading, asks, _week_rows(histories[key]), picture, is_shown_above=False)


def _heading(line: SheetLine) -> str:
    heading = capital(kind_words(line.kind))
    return f"{heading}: {target_words(line.target)}" if line.target else heading


def target_words(target: str) -> str:
    """What an alert is about as a coach says it: a site like left knee, or a lift like leg press, left."""
    first, *rest = target.split(":")
    if first in Joint.values and len(rest) == 1:
        return site_words(first, rest[0])
    return ", ".join(part.replace("_", " ") for part in [first, *rest] if part not in ("both", "fresh"))


def _picture(history: SiteWeeks, number: int) -> Picture:
    return Picture(
        cid=f"picture-{number}@{sender_domain()}",
        alt=describe_site(history),
        png=draw_site(history, format="png"),
    )


def _week_rows(history: SiteWeeks) -> tuple[WeekRow, ...]:
    rows = zip(
        history.week_starts,
        history.joint_reps,
        history.pain_highest,
        history.pain_median,
        history.reports,
        history.is_deload,
        strict=True,
    )
    return tuple(
        WeekRow(
            start=f"{start.day} {start:%b}",
            joint_reps=f"{reps:.0f}",
            pain_highest="" if highest is None else str(highest),
            pain_median="" if middle is None else f"{middle:.1f}".removesuffix(".0"),
            reports=reports,
            is_deload=is_deload,
        )
        for start, reps, highest, middle, reports, is_deload in list(rows)[-WEEKS_IN_TABLE:]
    )


def _unsubscribe(membership_uid: uuid.UUID) -> str:
    return f"<mailto:{sender_address()}?subject={quote(f'Stop the morning sheet {membership_uid}')}>"
