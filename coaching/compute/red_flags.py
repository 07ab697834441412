"""Symptoms that belong to a licensed clinician: the coded questions and how urgent an answer is."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.pain import check_pain
from coaching.compute.symptom_phrases import PHRASES
from coaching.compute.symptoms import FOLLOW_UPS, SYMPTOMS, Symptom, Urgency

VERSION = "1"

SIGN_OFF = (
    "The urgency of each symptom is a design choice of this service. Until the operator records who signed "
    "it off, no clinician has reviewed it for the country it is used in."
)

_EMERGENCY = (
    "Stop the session now and do not load anything. Call {emergency_number} or go to an emergency "
    "department now. Do not drive yourself."
)
_SAME_DAY = (
    "Stop the session and do not load the region. See a doctor or an urgent care service today. If it gets "
    "worse, or you feel very unwell, call {emergency_number}."
)
_CLINICIAN_REVIEW = (
    "Do not train the region until a licensed clinician has looked at it. If it gets worse, or anything new "
    "comes up, stop and call {emergency_number}."
)
_NOTHING_REPORTED = (
    "Nothing on the list was reported. That is not a clearance: if something worries you, stop and see a "
    "licensed clinician, in an emergency call {emergency_number}."
)
_INSTRUCTIONS = {
    Urgency.EMERGENCY: _EMERGENCY,
    Urgency.SAME_DAY: _SAME_DAY,
    Urgency.CLINICIAN_REVIEW: _CLINICIAN_REVIEW,
    Urgency.NONE: _NOTHING_REPORTED,
}
DEFAULT_EMERGENCY_NUMBER = "your local emergency number"

PAIN_JUMP_CODE = "pain_jump"
SEVERE_PAIN = 7
PAIN_JUMP_POINTS = 3
PAIN_JUMP_HOURS = 24


class Answer(Enum):
    """Answer to a coded question; no answer is not no."""

    YES = "yes"
    NO = "no"
    NOT_ANSWERED = "not_answered"


@dataclass(frozen=True, slots=True)
class RaisedFlag:
    """A symptom answered with yes, and how urgent it is in this combination of answers."""

    code: str
    urgency: Urgency


@dataclass(frozen=True, slots=True)
class RedFlagAssessment:
    """What the answers of one client amount to.

    Attributes:
        flags: raised flags, most urgent first, then in the order of the table.
        urgency: the highest of them; none where nothing is raised, which clears nothing.
        instruction: what the client is told.
        follow_ups: codes of open questions that could change the urgency, to be asked next.
        not_answered: codes of the table without an answer.
        version: version of the rules.
    """

    flags: tuple[RaisedFlag, ...]
    urgency: Urgency
    instruction: str
    follow_ups: tuple[str, ...]
    not_answered: tuple[str, ...]
    version: str


def assess_symptoms(
    answers: Mapping[str, Answer], emergency_number: str = DEFAULT_EMERGENCY_NUMBER
) -> RedFlagAssessment:
    """Turn coded answers into raised flags, the highest urgency and an instruction that refers out.

    Args:
        answers: answer of each code of SYMPTOMS and FOLLOW_UPS; codes left out are not answered.
        emergency_number: number or text to put into the instruction.

    Returns:
        RedFlagAssessment.

    Raises:
        ValueError: unknown code.

    Notes:
        An answer can raise the urgency of another symptom, never end it. Follow-ups that would lower the
        urgency (the sick feeling of a suspected infection, the speed and sides of a weakness, a lock that
        comes and goes) count as unfavourable until they are answered.

    Source:
        Urgency classes and combinations: design choice, not reviewed by a clinician until one signs them off.

    >>> assess_symptoms({"night_pain": Answer.YES, "weight_loss": Answer.YES}).urgency.value
    'same_day'
    """
    for code in answers:
        if code not in SYMPTOMS and code not in FOLLOW_UPS:
            raise ValueError(f"answers must use codes of the symptom table, got {code}")
    raised = [
        RaisedFlag(symptom.code, _urgency(symptom, answers))
        for symptom in SYMPTOMS.values()
        if _is_yes(answers, symptom.code)
    ]
    raised.sort(key=lambda flag: -flag.urgency.rank)
    urgency = raised[0].urgency if raised else Urgency.NONE
    codes = {flag.code for flag in raised}
    return RedFlagAssessment(
        flags=tuple(raised),
        urgency=urgency,
        instruction=_INSTRUCTIONS[urgency].format(emergency_number=emergency_number),
        follow_ups=tuple(
            code
            for code, follow_up in FOLLOW_UPS.items()
            if codes & set(follow_up.asked_after) and _is_open(answers, code)
        ),
        not_answered=tuple(
            code for code, symptom in SYMPTOMS.items() if symptom.is_asked and _is_open(answers, code)
        ),
        version=VERSION,
    )


def _urgency(symptom: Symptom, answers: Mapping[str, Answer]) -> Urgency:
    """Class of the row, changed by the combinations that the table names."""
    code = symptom.code
    if code == "spine_pain_with_fever" and _is_no(answers, "feels_unwell"):
        return Urgency.SAME_DAY
    if (
        code == "new_limb_weakness"
        and _is_no(answers, "weakness_is_rapid")
        and _is_no(answers, "weakness_is_on_both_sides")
    ):
        return Urgency.SAME_DAY
    if code == "joint_locked" and _is_yes(answers, "lock_comes_and_goes"):
        return Urgency.CLINICIAN_REVIEW
    if code == "night_pain" and _any_yes(answers, "weight_loss", "cancer_history", "has_fever"):
        return Urgency.SAME_DAY
    if code == "weight_loss" and _any_yes(answers, "night_pain", "cancer_history"):
        return Urgency.SAME_DAY
    if code == "girdle_stiffness":
        if _is_yes(answers, "vision_changed"):
            return Urgency.EMERGENCY
        if _is_yes(answers, "new_headache_or_jaw_pain"):
            return Urgency.SAME_DAY
    if code == "heart_or_circulation_signs" and _is_yes(answers, "signs_are_sudden"):
        return Urgency.EMERGENCY
    return symptom.urgency


def _is_yes(answers: Mapping[str, Answer], code: str) -> bool:
    return answers.get(code) is Answer.YES


def _is_no(answers: Mapping[str, Answer], code: str) -> bool:
    return answers.get(code) is Answer.NO


def _is_open(answers: Mapping[str, Answer], code: str) -> bool:
    return answers.get(code, Answer.NOT_ANSWERED) is Answer.NOT_ANSWERED


def _any_yes(answers: Mapping[str, Answer], *codes: str) -> bool:
    return any(_is_yes(answers, code) for code in codes)


def is_pain_jump(
    pain_today: NDArray[np.float64],
    usual_pain: NDArray[np.float64],
    hours_raised: NDArray[np.float64],
    is_explained: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Say where today's pain itself is a reason for a clinician to look.

    Args:
        pain_today: (n,) highest pain of the day 0-10; nan = no report, which raises nothing.
        usual_pain: (n,) usual pain of the site; nan = not known, then severe pain counts as new.
        hours_raised: (n,) hours between the first and the newest report that lie 3 or more above the usual
            pain; nan = not known.
        is_explained: (n,) the client names a cause.

    Returns:
        (n,) true where pain is 7 or more, new and unexplained, or 3 or more above usual for longer than 24 h.

    Raises:
        ValueError: either pain outside 0-10.

    Notes:
        Row "pain_jump" of the table: computed, never asked.

    Source:
        Design choice.

    >>> is_explained = np.array([False, False])
    >>> is_pain_jump(np.array([7.0, 5.0]), np.array([2.0, 2.0]), np.array([0.0, 30.0]), is_explained)
    array([ True,  True])
    """
    check_pain("pain_today", pain_today)
    check_pain("usual_pain", usual_pain)
    is_new = ~(usual_pain >= SEVERE_PAIN)
    is_severe = (pain_today >= SEVERE_PAIN) & is_new & ~is_explained
    is_lasting = (pain_today - usual_pain >= PAIN_JUMP_POINTS) & (hours_raised > PAIN_JUMP_HOURS)
    return np.asarray(is_severe | is_lasting)


def raises_questions(text: str) -> tuple[str, ...]:
    """Name the questions that a free text gives reason to ask.

    Args:
        text: what a client wrote; upper and lower case are alike.

    Returns:
        Codes in the order of the table; a text never answers a question and never lowers anything.

    Source:
        Phrases: design choice.

    >>> raises_questions("Sharp chest pain on the last set")
    ('chest_pain',)
    """
    folded = " ".join(text.casefold().split())
    return tuple(code for code, phrases in PHRASES.items() if any(phrase in folded for phrase in phrases))
