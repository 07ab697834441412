"""The pictures in words, for those who do not see them, and the words that the pictures use."""

from collections.abc import Sequence
from datetime import date

from coaching.reads.adherence_weeks import AdherenceWeeks
from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import LiftHistory, LiftPoint, SiteWeeks
from coaching.reads.labels import FRESH
from coaching.reads.lift_sides import LiftSidesHistory
from coaching.reads.side_differences import NOT_EQUALISED, WINDOW_DAYS

KIND_WORDS = {
    "red_flag": "red flag",
    "pain_limit": "pain limit",
    "pain_with_volume": "pain with volume",
    "pain_rising": "pain rising",
    "pain_unsettled": "pain unsettled",
    "over_dose": "over the plan",
}
NOTE = "coach's note"
NOT_EVENED_OUT = "Sides are not evened out."
DAYS_OF_A_YEAR = 365


def site_words(joint: str, side: str) -> str:
    """A site as it is said: left knee, lumbar spine."""
    joint = joint.replace("_", " ")
    return joint if side == "midline" else f"{side} {joint}"


def kind_words(kind: str) -> str:
    return KIND_WORDS.get(kind, kind.replace("_", " "))


def lift_words(history: LiftHistory) -> str:
    side = "both sides" if history.side == "both" else f"{history.side} side"
    return ", ".join([side, *track_words(history)])


def track_words(history: LiftHistory | LiftSidesHistory) -> list[str]:
    return [] if history.track == FRESH else [history.track.replace(":", " ").replace("_", " ")]


def exercise_words(history: LiftHistory | LiftSidesHistory) -> str:
    return _printable(history.exercise_name)


def _printable(words: str) -> str:
    """The words without what cannot stand in a picture file."""
    return "".join(letter for letter in words if letter.isprintable())


def day_words(day: date) -> str:
    return f"{day.day} {day:%B}"


def day_of(day: date, until_on: date) -> str:
    """A day within a window that ends on `until_on`, with its year where the day alone might be two."""
    is_old = (until_on - day).days >= DAYS_OF_A_YEAR
    return f"{day_words(day)} {day.year}" if is_old else day_words(day)


def counted_words(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def describe_site(history: SiteWeeks) -> str:
    """A site's picture in words."""
    weeks = counted_words(len(history.week_starts), "week")
    where = capital(site_words(history.joint, history.side))
    said = [f"{where}, {weeks} to {day_words(history.until_on)} {history.until_on.year}."]
    said += ["Nothing recorded."] if history.is_empty else [_reps_words(history), *_pain_words(history)]
    said += _alert_words(history)
    said += [
        f"{capital(NOTE)} on {day_of(day, history.until_on)}." for day in dict.fromkeys(history.notes_on)
    ]
    return " ".join(said)


def _alert_words(history: SiteWeeks | LiftHistory) -> list[str]:
    return [
        f"Alert on {day_of(row.opened_on, history.until_on)}: {kind_words(row.kind)}."
        for row in history.alert_openings
    ]


def _reps_words(history: SiteWeeks) -> str:
    reps = history.joint_reps
    deloads = sum(history.is_deload)
    return (
        f"Joint repetitions a week between {min(reps):.0f} and {max(reps):.0f}, "
        f"{reps[-1]:.0f} in the week of {day_words(history.week_starts[-1])}"
        + (f"; {counted_words(deloads, 'deload week')}." if deloads else ".")
    )


def _pain_words(history: SiteWeeks) -> list[str]:
    weeks = list(zip(history.week_starts, history.pain_highest, strict=True))
    known = [(start, pain) for start, pain in weeks if pain is not None]
    if not known:
        return ["No pain of a training day reported."]
    pains = [pain for _, pain in known]
    newest_start, newest_pain = known[-1]
    said = [
        f"Highest pain of a week between {min(pains)} and {max(pains)} of 10, "
        f"{newest_pain} in the week of {day_of(newest_start, history.until_on)}."
    ]
    missing = len(weeks) - len(known)
    return [*said, f"No pain known in {counted_words(missing, 'week')}."] if missing else said


def describe_lift(history: LiftHistory) -> str:
    """A lift's picture in words."""
    name = f"{exercise_words(history)}, {lift_words(history)}"
    points = estimated(history)
    if not points:
        return " ".join([f"{name}. No exposure in these weeks allows an estimate.", *_alert_words(history)])
    first, last = points[0], points[-1]
    exposures = counted_words(len(points), "exposure")
    told = (
        f"{name}. Estimated one-repetition maximum {first.e1rm_kg:.1f} kg on "
        f"{day_of(first.day_on, history.until_on)}, "
        f"{last.e1rm_kg:.1f} kg on {day_words(last.day_on)} {last.day_on.year}, {exposures}. "
        f"{trend_words(history)}."
    )
    return " ".join([told, *_alert_words(history)])


def estimated(history: LiftHistory) -> list[LiftPoint]:
    return [point for point in history.points if point.e1rm_kg is not None]


def trend_words(history: LiftHistory) -> str:
    trend = history.trend
    if trend is None:
        return "Too few comparable exposures for a trend"
    return (
        f"Trend {trend.kg_per_week:+.2f} kg a week "
        f"(95 % interval {trend.low_kg_per_week:+.2f} to {trend.high_kg_per_week:+.2f})"
    )


def sides_title(history: LiftSidesHistory) -> str:
    return ", ".join([exercise_words(history), "left and right", *track_words(history)])


def difference_words(history: LiftSidesHistory) -> tuple[str, str]:
    """How far the sides lie apart, and what to make of it: one line each."""
    found = history.difference
    if found is None or found.difference is None or found.low is None or found.high is None:
        return f"A side has no exposure in {WINDOW_DAYS} days: nothing to compare", NOT_EVENED_OUT
    word = "below" if found.difference < 0 else "above"
    apart = f"Right {abs(found.difference):.1f} % {word} left"
    if round(found.difference, 1) == 0:
        apart = "Right and left alike"
    what = "Noise alone can explain it" if found.is_within_noise else "More than noise alone"
    return (
        f"{apart} (95 % interval {found.low:+.1f} to {found.high:+.1f})",
        f"{what} ({WINDOW_DAYS} days). {NOT_EVENED_OUT}",
    )


def describe_sides(history: LiftSidesHistory) -> str:
    """The picture of both sides in words."""
    levels = [
        _side_words(name, points) for name, points in (("Left", history.left), ("Right", history.right))
    ]
    told = (
        _printable(history.difference.sentence)
        if history.difference
        else f"No comparable exposure of either side in {WINDOW_DAYS} days. {NOT_EQUALISED}"
    )
    alerts = [
        f"Alert on {day_of(opening.opened_on, history.until_on)}: {side_alert_words(side, opening)}."
        for side, opening in history.alerts
    ]
    parts = [f"{sides_title(history)}.", *levels, "Deloads and sets that pain ended are left out."]
    return " ".join([*parts, told, *alerts])


def side_alert_words(side: str, opening: AlertOpening) -> str:
    return f"{side}: {kind_words(opening.kind)}"


def _side_words(name: str, points: Sequence[LiftPoint]) -> str:
    if not points:
        return f"{name}: no estimate in these weeks."
    last = points[-1]
    return (
        f"{name}: estimated one-repetition maximum {last.e1rm_kg:.1f} kg on {day_words(last.day_on)} "
        f"{last.day_on.year}, {counted_words(len(points), 'exposure')}."
    )


def describe_adherence(adherence: AdherenceWeeks) -> str:
    """The picture of adherence in words."""
    weeks, until_on = adherence.weeks, adherence.until_on
    said = (
        f"Adherence by week, {counted_words(len(weeks), 'week')} to {day_words(until_on)} {until_on.year}. "
    )
    if adherence.is_empty:
        return f"{said}No session was scheduled."
    return f"{said}{_session_words(adherence)} {_bounds_words(adherence)}"


def _session_words(adherence: AdherenceWeeks) -> str:
    """How many sessions came to what, those that do not count after those that do."""
    weeks = adherence.weeks
    counted = {
        "done": sum(week.done for week in weeks),
        "done too late": sum(week.late for week in weeks),
        "without a log, which may have been done": sum(week.unknown for week in weeks),
        "not done": sum(week.not_done for week in weeks),
    }
    aside = {
        "still open": sum(week.pending for week in weeks),
        "cancelled or stopped by a clinician": sum(week.excused for week in weeks),
    }
    parts = [f"{number} {what}" for what, number in counted.items() if number]
    said = f"{counted_words(sum(counted.values()), 'session')} counted"
    said = f"{said}: {', '.join(parts)}." if parts else f"{said}."
    return " ".join([said, *(f"{number} {what}." for what, number in aside.items() if number)])


def _bounds_words(adherence: AdherenceWeeks) -> str:
    known = [
        (week.starts_on, week.low, week.high)
        for week in adherence.weeks
        if week.low is not None and week.high is not None
    ]
    if not known:
        return "No week has a session that counts."
    start, low, high = known[-1]
    lowest_on, lowest, at_most = min(known, key=lambda week: week[1:])
    said = (
        f"Of what was prescribed, {_percent_words(low, high)} was done in the week of "
        f"{day_of(start, adherence.until_on)}"
    )
    if (lowest, at_most) != (low, high):
        said += (
            f"; the lowest week is that of {day_of(lowest_on, adherence.until_on)}, "
            f"with {_percent_words(lowest, at_most)}"
        )
    missing = len(adherence.weeks) - len(known)
    return (
        f"{said}. {counted_words(missing, 'week')} without a session that counts." if missing else f"{said}."
    )


def _percent_words(low: float, high: float) -> str:
    if round(100 * low) == round(100 * high):
        return f"{100 * low:.0f} %"
    return f"{100 * low:.0f} to {100 * high:.0f} %"
