"""The coded questions about symptoms, as a client app asks them."""

from dataclasses import dataclass

from coaching.compute.symptoms import FOLLOW_UPS, SYMPTOMS
from coaching.models import Practice
from coaching.reads.urgency import urgency_review_note

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


def symptom_questions(*, practice_id: int) -> SymptomQuestions:
    """Every question that is asked; what an answer raises suspicion of is never shown."""
    asked = [SymptomQuestion(row.code, row.question, ()) for row in SYMPTOMS.values() if row.is_asked]
    follow_ups = [
        SymptomQuestion(row.code, row.question, tuple(row.asked_after)) for row in FOLLOW_UPS.values()
    ]
    country = Practice.objects.values_list("country", flat=True).get(id=practice_id)
    return SymptomQuestions((*asked, *follow_ups), urgency_review_note(country))
