"""The sentences a coach reads: each finding in the client's own numbers, and what is not known."""

from datetime import date

from coaching.compute.findings import (
    AdherenceNumbers,
    LiftNumbers,
    OverDoseNumbers,
    PainLimitNumbers,
    PainTrendNumbers,
    SettlingNumbers,
    SilenceNumbers,
)

CAUTION = (
    "This service is not a medical device. It makes no diagnosis, gives no clearance and does not know why a "
    "joint hurts. The numbers compare this client with their own earlier reports and nothing else."
)
REFER_OUT = (
    "If pain is severe, new or getting worse, or anything on the red-flag list applies: stop, and see a "
    "licensed clinician. In an emergency call {emergency_number}. Local rules come first."
)
DEFAULT_EMERGENCY_NUMBER = "your local emergency number"

_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

Numbers = (
    PainTrendNumbers
    | PainLimitNumbers
    | SettlingNumbers
    | LiftNumbers
    | AdherenceNumbers
    | OverDoseNumbers
    | SilenceNumbers
)


def refer_out(emergency_number: str = "") -> str:
    """Give the refer-out sentence with the number to call.

    Args:
        emergency_number: number or text; empty = not known, then a general phrase.

    Returns:
        One to three sentences.

    >>> refer_out("112").endswith("In an emergency call 112. Local rules come first.")
    True
    """
    return REFER_OUT.format(emergency_number=emergency_number or DEFAULT_EMERGENCY_NUMBER)


def sentence(kind: str, subject: str, numbers: Numbers) -> str:
    """Say what was found, over which dates, from what to what, how sure, and what is not known.

    Args:
        kind: pain_with_volume, pain_rising, pain_limit, pain_unsettled, stalled_lift, regressing_lift,
            off_plan, unlogged, over_dose or silent.
        subject: the site ("left knee") or lift ("leg press, left") as a coach calls it; not used for the
            kinds that concern the whole client.
        numbers: what the matching describe function gave.

    Returns:
        One or more sentences. They never state a probability of injury.

    Raises:
        ValueError: unknown kind, or numbers of another kind.

    >>> sentence("silent", "", SilenceNumbers(days_since_post=9, days=7, n_due=3))
    'No post of any kind for 9 days, although 3 sessions were due in the last 7.'
    """
    match kind, numbers:
        case "pain_with_volume" | "pain_rising", PainTrendNumbers():
            return _pain_trend(kind, subject, numbers)
        case "pain_limit", PainLimitNumbers():
            return _pain_limit(subject, numbers)
        case "pain_unsettled", SettlingNumbers():
            return _pain_unsettled(subject, numbers)
        case "stalled_lift", LiftNumbers():
            return _stalled_lift(subject, numbers)
        case "regressing_lift", LiftNumbers():
            return _regressing_lift(subject, numbers)
        case "off_plan" | "unlogged", AdherenceNumbers():
            return _adherence(kind, numbers)
        case "over_dose", OverDoseNumbers():
            return _over_dose(subject, numbers)
        case "silent", SilenceNumbers():
            return _silence(numbers)
    raise ValueError(f"kind must fit its numbers, got {kind} with {type(numbers).__name__}")


def _pain_trend(kind: str, site: str, found: PainTrendNumbers) -> str:
    return (
        f"Pain of the {site} climbed from about {found.pain_from:.1f} to {found.pain_to:.1f} between about "
        f"{dated(found.onset_on)} and {dated(found.to_on)}: {found.pain_per_week:+.1f} points a week "
        f"({found.interval:.0%} interval {found.pain_per_week_low:+.1f} to {found.pain_per_week_high:+.1f}), "
        f"{found.statistic:.1f} times its standard error where {found.threshold:.1f} is enough. "
        f"{_volume(kind, found)} "
        f"{_known_reports(found)}"
    )


def _volume(kind: str, found: PainTrendNumbers) -> str:
    before, recent = found.volume_before_per_week, found.volume_recent_per_week
    if before != before or recent != recent:
        return "There are too few ordinary weeks before to compare its volume with."
    verb = "rose" if kind == "pain_with_volume" else "did not clearly rise"
    text = (
        f"Volume {verb}: {recent:.0f} joint reps a week over the last fortnight against {before:.0f} "
        f"over the ordinary weeks before, deloads left out ({found.volume_change:+.0%}"
    )
    since = found.volume_change_since_onset
    if kind == "pain_rising" and since == since:
        text += f"; {since:+.0%} in all weeks since the pain began to climb"
    return f"{text})."


def _known_reports(found: PainTrendNumbers) -> str:
    parts = [f"Rests on {counted(found.n_reports, 'report')} since {dated(found.from_on)}"]
    if found.n_spikes:
        parts.append(f"{counted(found.n_spikes, 'single bad day')} left out")
    if found.n_missing:
        parts.append(f"{counted(found.n_missing, 'training day')} without a report, pain not known")
    return "; ".join(parts) + "."


def _pain_limit(site: str, found: PainLimitNumbers) -> str:
    text = f"Pain of the {site} was {found.pain:.0f} on {dated(found.on)}; the limit is {found.limit:.0f}."
    if found.n_days > 1:
        text += f" It reached the limit on {found.n_days} of the last {found.recent_days} days."
    return text


def _pain_unsettled(site: str, found: SettlingNumbers) -> str:
    text = (
        f"The {site} had not settled on the last {counted(found.n_above, 'reported morning')} after "
        f"training: {found.newest_morning:.0f} after {dated(found.newest_on)}, against a usual morning of "
        f"{found.usual_morning:.1f}."
    )
    if found.n_missing:
        text += f" {counted(found.n_missing, 'morning')} of the last fortnight not reported, so not known."
    return text


def _stalled_lift(lift: str, found: LiftNumbers) -> str:
    return (
        f"{lift}: {found.slope_per_week:+.1%} a week ({found.interval:.0%} interval "
        f"{found.slope_low_per_week:+.1%} to {found.slope_high_per_week:+.1%}), below the "
        f"{found.expected_per_week:+.2%} a week to be expected, and no new best: {found.best_recent_kg:.1f} "
        f"lately, {found.best_before_kg:.1f} kg before. {_exposures(found)}"
    )


def _regressing_lift(lift: str, found: LiftNumbers) -> str:
    return (
        f"{lift}: the average of the last exposures lies {found.fall:.1%} below that of the first ones; from "
        f"{found.fall_mdc:.1%} it is more than measurement noise. Slope {found.slope_per_week:+.1%} a week "
        f"({found.interval:.0%} interval {found.slope_low_per_week:+.1%} to "
        f"{found.slope_high_per_week:+.1%}). {_exposures(found)}"
    )


def _exposures(found: LiftNumbers) -> str:
    text = (
        f"Rests on {counted(found.n_exposures, 'comparable exposure')} from {dated(found.from_on)} to "
        f"{dated(found.to_on)}"
    )
    if found.n_left_out:
        text += f"; {found.n_left_out} left out (deload, pain, other effort, not fresh)"
    return text + "."


def _adherence(kind: str, found: AdherenceNumbers) -> str:
    sessions = f"of what {counted(found.n_sessions, 'session')} in the last {found.days} days asked for"
    if kind == "off_plan":
        text = f"Did at most {found.score_high:.0%} {sessions}"
        if found.score_low < found.score_high:
            text += f", {found.score_low:.0%} if nothing unlogged was done"
    else:
        text = (
            f"Did somewhere between {found.score_low:.0%} and {found.score_high:.0%} {sessions}: sessions "
            f"without a log may or may not have been done"
        )
    return f"{text}. {counted(found.n_unknown, 'session')} without a log." if found.n_unknown else f"{text}."


def _over_dose(site: str, found: OverDoseNumbers) -> str:
    text = (
        f"The {site} did {found.completed_joint_reps:.0f} joint reps in {found.days} days, "
        f"{found.prescribed_joint_reps:.0f} were prescribed"
    )
    return f"{text} ({found.ratio:.0%})." if found.ratio == found.ratio else f"{text}."


def _silence(found: SilenceNumbers) -> str:
    were = "session was" if found.n_due == 1 else "sessions were"
    due = f"although {found.n_due} {were} due in the last {found.days}"
    if found.days_since_post is None:
        return f"Has never posted, {due} days."
    return f"No post of any kind for {found.days_since_post} days, {due}."


def counted(number: int, noun: str) -> str:
    """Give a number with its noun.

    Args:
        number: how many.
        noun: of one; more than one takes an s.

    Returns:
        Number and noun.

    >>> counted(1, "report"), counted(4, "report")
    ('1 report', '4 reports')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def dated(on: date) -> str:
    """Give a date in words, in English whatever the machine's language.

    Args:
        on: the date.

    Returns:
        Day, month and year.

    >>> dated(date(2026, 3, 2))
    '2 March 2026'
    """
    return f"{on.day} {_MONTHS[on.month - 1]} {on.year}"
