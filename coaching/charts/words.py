"""The pictures in words, for those who do not see them, and the words that the pictures use."""

from datetime import date

from coaching.reads.history import LiftHistory, LiftPoint, SiteWeeks

KIND_WORDS = {
    "red_flag": "red flag",
    "pain_limit": "pain limit",
    "pain_with_volume": "pain with volume",
    "pain_rising": "pain rising",
    "pain_unsettled": "pain unsettled",
    "over_dose": "over the plan",
}


def site_words(joint: str, side: str) -> str:
    """A site as it is said: left knee, lumbar spine."""
    joint = joint.replace("_", " ")
    return joint if side == "midline" else f"{side} {joint}"


def kind_words(kind: str) -> str:
    return KIND_WORDS.get(kind, kind.replace("_", " "))


def lift_words(history: LiftHistory) -> str:
    side = "both sides" if history.side == "both" else f"{history.side} side"
    if history.track == "fresh":
        return side
    return f"{side}, {history.track.replace(':', ' ').replace('_', ' ')}"


def exercise_words(history: LiftHistory) -> str:
    """The exercise's name, without what cannot stand in a picture file."""
    return "".join(letter for letter in history.exercise_name if letter.isprintable())


def day_words(day: date) -> str:
    return f"{day.day} {day:%B}"


def capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def describe_site(history: SiteWeeks) -> str:
    """A site's picture in words."""
    weeks = len(history.week_starts)
    said = [
        f"{capital(site_words(history.joint, history.side))}, {weeks} week{'s' if weeks > 1 else ''} "
        f"to {day_words(history.until_on)} {history.until_on.year}."
    ]
    if history.is_empty:
        return f"{said[0]} Nothing recorded."
    said += [_reps_words(history), _pain_words(history)]
    said += [
        f"Alert on {day_words(row.opened_on)}: {kind_words(row.kind)}." for row in history.alert_openings
    ]
    return " ".join(said)


def _reps_words(history: SiteWeeks) -> str:
    reps = history.joint_reps
    return (
        f"Joint repetitions a week between {min(reps):.0f} and {max(reps):.0f}, "
        f"{reps[-1]:.0f} in the week of {day_words(history.week_starts[-1])}."
    )


def _pain_words(history: SiteWeeks) -> str:
    weeks = zip(history.week_starts, history.pain_highest, strict=True)
    known = [(start, pain) for start, pain in weeks if pain is not None]
    if not known:
        return "No pain of a training day reported."
    pains = [pain for _, pain in known]
    newest_start, newest_pain = known[-1]
    return (
        f"Highest pain of a week between {min(pains)} and {max(pains)} of 10, "
        f"{newest_pain} in the week of {day_words(newest_start)}."
    )


def describe_lift(history: LiftHistory) -> str:
    """A lift's picture in words."""
    name = f"{exercise_words(history)}, {lift_words(history)}"
    points = estimated(history)
    if not points:
        return f"{name}. No exposure in these weeks allows an estimate."
    first, last = points[0], points[-1]
    exposures = "1 exposure" if len(points) == 1 else f"{len(points)} exposures"
    return (
        f"{name}. Estimated one-repetition maximum {first.e1rm_kg:.1f} kg on {day_words(first.day_on)}, "
        f"{last.e1rm_kg:.1f} kg on {day_words(last.day_on)} {last.day_on.year}, {exposures}. "
        f"{trend_words(history)}."
    )


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
