"""The coded questions about symptoms, as a client app asks them."""

from dataclasses import dataclass

from coaching.compute.red_flags import SIGN_OFF
from coaching.compute.symptoms import FOLLOW_UPS, SYMPTOMS

SYMPTOM_CODES = frozenset({*(code for code, row in SYMPTOMS.items() if row.is_asked), *FOLLOW_UPS})


@dataclass(frozen=True, slots=True)
class SymptomQuestion:
    code: str
    question: str
    asked_after: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SymptomQuestions:
    questions: tuple[SymptomQuestion, ...]
    review_note: str


def symptom_questions() -> SymptomQuestions:
    """Every question that is asked; what an answer raises suspicion of is never shown."""
    asked = [SymptomQuestion(row.code, row.question, ()) for row in SYMPTOMS.values() if row.is_asked]
    follow_ups = [
        SymptomQuestion(row.code, row.question, tuple(row.asked_after)) for row in FOLLOW_UPS.values()
    ]
    return SymptomQuestions((*asked, *follow_ups), SIGN_OFF)
