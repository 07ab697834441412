"""The sentences a coach reads: numbers from the client's own series, what is not known, never a probability."""

from collections.abc import Sequence
from datetime import date

CAUTION = (
    "This is not a medical device and not a diagnosis. It never clears anyone to train. "
    "Local rules come first."
)


def refer_out(emergency_text: str) -> str:
    """Whom to turn to, with the local emergency number as the practice wrote it."""
    return (
        "If pain is severe, new, spreading, or comes with weakness, numbness, swelling or feeling ill: "
        f"stop, and see a licensed clinician before training that region again. {emergency_text}."
    )


def site_label(target: str) -> str:
    """A site as people say it: `knee:left` is the left knee.

    >>> site_label("lumbar_spine:midline")
    'lumbar spine'
    """
    joint, _, side = target.partition(":")
    joint = joint.replace("_", " ")
    return joint if side == "midline" else f"{side} {joint}"


def day_label(day: date) -> str:
    """A day without its year: `2 March`."""
    return f"{day.day} {day:%B}"


def pain_trend_sentence(
    target: str,
    *,
    onset_on: date,
    last_on: date,
    pain_from: float,
    pain_to: float,
    pain_per_week_low: float,
    pain_per_week_high: float,
    weekly_reps_before: float,
    weekly_reps_recent: float,
    volume_change: float,
    reports: int,
    missing: int,
) -> str:
    """Pain that climbs, beside what its volume did; where the change of volume is not known it says so."""
    weeks = max(1, round((last_on - onset_on).days / 7))
    sentence = (
        f"Pain of the {site_label(target)} has climbed from about {pain_from:.1f} to {pain_to:.1f} of 10 "
        f"over the last {weeks} weeks (since about {day_label(onset_on)}; {pain_per_week_low:.1f} to "
        f"{pain_per_week_high:.1f} points a week)"
    )
    if volume_change == volume_change:
        direction = "up" if volume_change > 0 else "down"
        sentence += (
            f", while its weekly repetitions went {direction} from {weekly_reps_before:.0f} to "
            f"{weekly_reps_recent:.0f} ({volume_change:+.0%})"
        )
    else:
        sentence += "; there is too little volume before to compare its repetitions with"
    return f"{sentence}. Based on {reports} reports; {_missing(missing)}."


def _missing(missing: int) -> str:
    if missing == 0:
        return "no training day lacks a report"
    return f"{missing} training {'day lacks' if missing == 1 else 'days lack'} a report"


def pain_limit_sentence(target: str, pain: int, limit: int, felt_on: date, moment: str) -> str:
    """A pain at or above the site's limit."""
    when = {
        "during": "during training",
        "after": "after training",
        "next_morning": "the morning after training",
    }
    said = when.get(moment, "with training")
    return (
        f"Pain of the {site_label(target)} was {pain} of 10 {said} on {day_label(felt_on)}, "
        f"at or above its limit of {limit}."
    )


def pain_unsettled_sentence(
    target: str, *, newest_on: date, pain: float, usual: float, mornings: int, missing: int
) -> str:
    """Pain that had not settled by the next morning, several times running."""
    sentence = (
        f"Pain of the {site_label(target)} had not settled on the last {mornings} reported mornings after "
        f"training: {pain:.0f} of 10 after {day_label(newest_on)}, where {usual:.1f} was usual."
    )
    if missing:
        plural = "morning is" if missing == 1 else "mornings are"
        sentence += f" {missing} {plural} not reported, so whether it had settled there is not known."
    return sentence


def red_flag_sentence(target: str, symptoms: Sequence[str], urgency: str, felt_on: date) -> str:
    """A symptom that belongs to a clinician, in the client's own coded words; no suspicion is named."""
    what = ", ".join(code.replace("_", " ") for code in symptoms)
    need = {
        "emergency": "This is a matter for emergency services now",
        "same_day": "This is a matter for a doctor today",
    }.get(urgency, "This is a matter for a licensed clinician before the region is trained again")
    return f"Reported on {day_label(felt_on)} ({site_label(target)}): {what}. {need}; no training advice is
    given."


def lift_sentence(
    name: str,
    side: str,
    *,
    state: str,
    slope_per_week: float,
    low_per_week: float,
    high_per_week: float,
    expected_per_week: float,
    exposures: int,
    left_out: int,
    first_on: date,
    last_on: date,
    fall: float,
) -> str:
    """A lift that has stopped moving, or has gone back by more than its noise."""
    where = "" if side == "both" else f" ({side})"
    span = f"from {day_label(first_on)} to {day_label(last_on)} over {exposures} comparable exposures"
    aside = f" {left_out} more were left out (deload, pain or not fresh)." if left_out else ""
    if state == "regressing":
        return f"{name}{where} has gone back by {fall:.1%} {span}, more than its day-to-day noise
        explains.{aside}"
    return (
        f"{name}{where} has stopped moving: estimated maximum {slope_per_week:+.1%} a week "
        f"({low_per_week:+.1%} to {high_per_week:+.1%}) {span}, where {expected_per_week:.1%} was to be "
        f"expected.{aside}"
    )


def adherence_sentence(
    kind: str, *, low: float, high: float, sessions: int, days: int, done: int, unknown: int, not_done: int
) -> str:
    """What was done against the plan, with the bounds that unlogged sessions leave open."""
    counts = (
        f"of {sessions} sessions due in the last {days} days; over 28 days {done} are logged, "
        f"{not_done} said not done, {unknown} without a log"
    )
    if kind == "off_plan":
        return f"Off plan: at most {high:.0%} of the prescribed work was done {counts}."
    return f"Unlogged: between {low:.0%} and {high:.0%} of the prescribed work was done {counts}."


def silent_sentence(days: float) -> str:
    """No word of any kind although sessions were due."""
    if days != days:
        return "Nothing has ever been logged although sessions were due."
    return f"Nothing has been logged for {days:.0f} days although sessions were due."


def over_dose_sentence(target: str, *, completed: float, prescribed: float, days: int) -> str:
    """More repetitions of a guarded site than were prescribed."""
    share = f" ({completed / prescribed:.0%} of it)" if prescribed > 0 else ""
    return (
        f"The guarded {site_label(target)} did {completed:.0f} joint repetitions in {days} days where "
        f"{prescribed:.0f} were prescribed{share}."
    )
