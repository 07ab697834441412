"""What a coach may ask, and what may be worth changing, for each kind of alert: questions, never advice."""

from datetime import date

from coaching.compute.evidence import Numbers, dated
from coaching.compute.findings import (
    AdherenceNumbers,
    LiftNumbers,
    OverDoseNumbers,
    PainLimitNumbers,
    PainTrendNumbers,
    SettlingNumbers,
    SilenceNumbers,
)

RED_FLAG_ASKS = (
    "Worth asking: has the client reached a licensed clinician, or the emergency services if it was for "
    "them?",
)
"""A red flag gets this question and no suggestion about training."""


def worth_asking(kind: str, subject: str, numbers: Numbers) -> tuple[str, ...]:
    """Give the questions that a finding raises, in the client's own numbers.

    Args:
        kind: as for evidence.sentence.
        subject: the site ("left knee") or lift as a coach calls it; not used for the whole client.
        numbers: what the matching describe function gave.

    Returns:
        One to three questions to the coach. None says what is wrong with a joint, and none suggests training
        on in spite of pain.

    Raises:
        ValueError: unknown kind, or numbers of another kind.

    >>> worth_asking("silent", "", SilenceNumbers(days_since_post=9, days=7, n_due=3))[0]
    'Worth asking: is the client well, away or ill?'
    """
    match kind, numbers:
        case "pain_with_volume", PainTrendNumbers():
            return _pain_with_volume(subject, numbers)
        case "pain_rising", PainTrendNumbers():
            return _pain_rising(subject, numbers)
        case "pain_limit", PainLimitNumbers():
            return limit_asks(subject, numbers.on)
        case "pain_unsettled", SettlingNumbers():
            return _pain_unsettled(subject, numbers)
        case "stalled_lift", LiftNumbers():
            return _stalled_lift()
        case "regressing_lift", LiftNumbers():
            return _regressing_lift(numbers)
        case "off_plan" | "unlogged", AdherenceNumbers():
            return _off_plan(numbers) if kind == "off_plan" else _unlogged(numbers)
        case "over_dose", OverDoseNumbers():
            return _over_dose(subject, numbers)
        case "silent", SilenceNumbers():
            return _silent(numbers)
    raise ValueError(f"kind must fit its numbers, got {kind} with {type(numbers).__name__}")


def limit_asks(site: str, on: date) -> tuple[str, ...]:
    """Give the questions about pain that has reached its limit.

    Args:
        site: the site as a coach calls it.
        on: the day of the report.

    Returns:
        Two questions.

    >>> limit_asks("left knee", date(2026, 3, 25))[0]
    'Worth asking: what brought it on around 25 March 2026, and how is the left knee today?'
    """
    return (
        f"Worth asking: what brought it on around {dated(on)}, and how is the {site} today?",
        "Worth considering: should whatever brings it on stop until you have spoken, and should a licensed "
        "clinician see it?",
    )


def _pain_with_volume(site: str, found: PainTrendNumbers) -> tuple[str, ...]:
    before = found.volume_before_per_week
    return (
        f"Worth asking: what changed around {dated(found.onset_on)}: exercises, load, sets, sleep, work?",
        f"Worth considering: should weekly joint reps of the {site} go back to about {before:.0f}, as in the "
        f"ordinary weeks before, until the pain has settled?",
        *_missing(found.n_missing, "training day"),
    )


def _pain_rising(site: str, found: PainTrendNumbers) -> tuple[str, ...]:
    return (
        f"Worth asking: what changed around {dated(found.onset_on)} other than volume: load, technique, "
        f"sleep, work, something outside training?",
        f"Worth considering: which exercise does the {site} feel most, and should it be made lighter or left "
        f"out for now?",
        *_missing(found.n_missing, "training day"),
    )


def _pain_unsettled(site: str, found: SettlingNumbers) -> tuple[str, ...]:
    return (
        f"Worth asking: what was done on {dated(found.newest_on)}, and when did the {site} settle again?",
        f"Worth considering: would it be better to add nothing for the {site}, and to go back to the last "
        f"dose that had settled by morning?",
        *_missing(found.n_missing, "morning"),
    )


def _missing(number: int, noun: str) -> tuple[str, ...]:
    if number == 0:
        return ()
    which = noun if number == 1 else f"{number} {noun}s"
    return (f"Worth asking: how was the pain on the {which} without a report?",)


def _stalled_lift() -> tuple[str, ...]:
    return (
        "Worth asking: how were sleep, food, illness and attendance in these weeks?",
        "Worth considering: which lever has not been tried yet: load step, repetitions, sets, rest, a light "
        "week, another variation?",
    )


def _regressing_lift(found: LiftNumbers) -> tuple[str, ...]:
    return (
        f"Worth asking: since {dated(found.from_on)}, has anything hurt, did illness or short sleep come "
        f"between, or did technique, depth or equipment change?",
        "Worth considering: would a light week come before anything is added?",
    )


def _off_plan(found: AdherenceNumbers) -> tuple[str, ...]:
    logs: tuple[str, ...] = ()
    if found.n_unknown:
        logs = (_logs(found),)
    return (
        "Worth asking: what kept the client from it: time, pain, illness, or the plan itself?",
        *logs,
        "Worth considering: would fewer or shorter sessions be done?",
    )


def _unlogged(found: AdherenceNumbers) -> tuple[str, ...]:
    return (_logs(found), "Worth considering: what would make logging easier?")


def _logs(found: AdherenceNumbers) -> str:
    if found.n_unknown == 1:
        return "Worth asking: was the session without a log done and only not logged?"
    return f"Worth asking: were the {found.n_unknown} sessions without a log done and only not logged?"


def _over_dose(site: str, found: OverDoseNumbers) -> tuple[str, ...]:
    return (
        f"Worth asking: were the {found.completed_joint_reps:.0f} joint reps of the {site} meant, and what "
        f"were the extra ones?",
        f"Worth considering: should the next {found.days} days stay at the prescribed "
        f"{found.prescribed_joint_reps:.0f}, or is the plan to be changed?",
    )


def _silent(found: SilenceNumbers) -> tuple[str, ...]:
    return (
        "Worth asking: is the client well, away or ill?",
        f"Worth considering: would a call today be better than to wait for a log of "
        f"{'that session' if found.n_due == 1 else f'those {found.n_due} sessions'}?",
    )
