"""The table of coded symptoms: what is asked, what it may mean, how urgent it is and where it comes from."""

from dataclasses import dataclass
from enum import Enum


class Urgency(Enum):
    """How soon a symptom has to be seen by a clinician."""

    EMERGENCY = "emergency"
    SAME_DAY = "same_day"
    CLINICIAN_REVIEW = "clinician_review"
    NONE = "none"

    @property
    def rank(self) -> int:
        """Higher = more urgent."""
        return {"emergency": 3, "same_day": 2, "clinician_review": 1, "none": 0}[self.value]


@dataclass(frozen=True, slots=True)
class Symptom:
    """One row of the table.

    Attributes:
        code: stable name.
        question: what the client is asked, answered with yes or no.
        suspicion: what a clinician would think of; for the documentation, never shown to clients.
        urgency: class of the symptom on its own.
        source: where the row comes from, and whether that was seen or is from memory.
        is_asked: false where the row is computed from pain reports.
    """

    code: str
    question: str
    suspicion: str
    urgency: Urgency
    source: str
    is_asked: bool = True


@dataclass(frozen=True, slots=True)
class FollowUp:
    """A further question that can change the urgency of the symptoms it is asked after."""

    code: str
    question: str
    asked_after: tuple[str, ...]


_E, _S, _C = Urgency.EMERGENCY, Urgency.SAME_DAY, Urgency.CLINICIAN_REVIEW

_ROWS = (
    Symptom(
        "saddle_numbness_or_bladder",
        "Do you have new numbness between the legs or around the genitals, new trouble passing, holding or "
        "feeling urine or stool, a new change in sexual function, or pain or growing weakness down both "
        "legs?",
        "cauda equina",
        _E,
        "Finucane 2020, J Orthop Sports Phys Ther 50(7):350-372 (seen)",
    ),
    Symptom(
        "chest_pain",
        "Do you have pain, pressure or tightness in the chest, jaw, neck or arm with effort or at rest, "
        "perhaps with breathlessness, sweating or faintness?",
        "cardiac",
        _E,
        "Riebe 2015, Med Sci Sports Exerc 47(8):2473-2479, list of signs and symptoms (seen)",
    ),
    Symptom(
        "fainting",
        "Did you faint or nearly faint while training, or did your heart suddenly race with dizziness?",
        "arrhythmia",
        _E,
        "Riebe 2015, list of signs and symptoms (seen)",
    ),
    Symptom(
        "sudden_breathlessness",
        "Did you become short of breath all at once, does breathing cause a sharp pain, or did you cough "
        "up blood?",
        "pulmonary embolism",
        _E,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "major_injury",
        "Did you have a hard fall, blow or accident with severe pain, a misshapen limb, an open wound, or a "
        "limb that turned cold, pale or numb?",
        "fracture, dislocation, vascular",
        _E,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "hot_swollen_joint",
        "Is a joint hot, swollen and very painful while you feel feverish or ill, or while you have an "
        "artificial joint or a weakened immune system?",
        "septic arthritis",
        _E,
        "BSR guideline 2006 (from memory)",
    ),
    Symptom(
        "spine_pain_with_fever",
        "Do you have new, severe back or neck pain together with fever or chills, with injected drugs, or "
        "with a weakened immune system?",
        "spinal infection",
        _E,
        "Finucane 2020 (from memory)",
    ),
    Symptom(
        "sudden_headache_or_stroke_signs",
        "Do you have a sudden headache worse than any before, a drooping face, or trouble with speech, "
        "sight or balance, perhaps with neck pain?",
        "stroke, arterial dissection",
        _E,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "new_limb_weakness",
        "Is an arm or leg getting weaker, or does a foot newly drop or drag?",
        "nerve or cord compression",
        _E,
        "NICE NG59 and CKS sciatica (second-hand)",
    ),
    Symptom(
        "unsteady_gait_or_clumsy_hands",
        "Are you newly unsteady on your feet, clumsy with your hands, stiff in the legs, or do electric "
        "shocks run down your spine?",
        "spinal cord (myelopathy)",
        _S,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "dark_urine_after_training",
        "After training, are muscles severely painful, swollen or weak while your urine is dark, like cola?",
        "rhabdomyolysis",
        _E,
        "context of Caterisano 2019 (second-hand)",
    ),
    Symptom(
        "tense_painful_limb",
        "Is part of a limb hard and tense, with pain far beyond what you would expect, worse when it is "
        "stretched?",
        "compartment syndrome",
        _E,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "swollen_calf",
        "Is one calf or leg swollen, warm and tender, perhaps after a long time sitting, surgery, cancer or "
        "an earlier blood clot?",
        "deep vein thrombosis",
        _S,
        "two-level Wells score and NICE (seen, second-hand); the score itself is never computed",
    ),
    Symptom(
        "sudden_pop",
        "Did you feel a sudden pop or snap and can no longer push off, lift the arm or straighten the joint?",
        "tendon or ligament rupture",
        _S,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "cannot_bear_weight",
        "After an injury, are you unable to take four steps on the leg, or is the bone itself tender to "
        "touch?",
        "fracture",
        _S,
        "Ottawa rules, Stiell 1992 and 1995 (from memory)",
    ),
    Symptom(
        "joint_locked",
        "Is a joint stuck so that you cannot fully straighten or bend it?",
        "loose body, meniscus",
        _S,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "joint_gives_way",
        "Does a joint give way or slip out again and again?",
        "ligament, labrum",
        _C,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "night_pain",
        "Do you have pain at night that no position eases, or constant pain that keeps growing whatever "
        "you do?",
        "malignancy, infection, inflammatory disease",
        _C,
        "Finucane 2020: weak on its own (second-hand)",
    ),
    Symptom(
        "weight_loss",
        "Have you lost weight without wanting to and without knowing why?",
        "malignancy",
        _C,
        "Finucane 2020 (second-hand)",
    ),
    Symptom(
        "cancer_history",
        "Have you ever had cancer, and is there now new pain in a bone or the spine?",
        "metastasis",
        _S,
        "NICE CKS sciatica: suspected spinal metastasis within days (seen)",
    ),
    Symptom(
        "numbness_or_tingling",
        "Do you have steady numbness, tingling or weakness along an arm or leg?",
        "radiculopathy",
        _C,
        "NICE NG59 (from memory)",
    ),
    Symptom(
        "spine_pain_after_minor_injury",
        "Did sudden severe back or neck pain start after a slight knock or lift, with thin bones, long use "
        "of steroids, or higher age?",
        "fragility fracture",
        _S,
        "NICE and Finucane 2020 (second-hand)",
    ),
    Symptom(
        "bone_pain_with_loading",
        "Is there one sore spot on a bone that gets worse with loading and also hurts at rest or at night?",
        "bone stress injury; no loading of the bone until reviewed",
        _C,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "morning_stiffness",
        "Are you stiff for more than half an hour in the morning, with several swollen joints, or with "
        "psoriasis, bowel or eye inflammation?",
        "inflammatory disease",
        _C,
        "NICE NG65 (from memory)",
    ),
    Symptom(
        "girdle_stiffness",
        "Are you over 50 with newly stiff and sore shoulders or hips on both sides?",
        "polymyalgia rheumatica, giant-cell arteritis",
        _C,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "heart_or_circulation_signs",
        "Are you breathless at rest, on slight effort or lying flat, do your ankles swell, do your calves "
        "cramp on walking, are you unusually tired, or is a heart murmur known?",
        "cardiovascular, metabolic or renal disease",
        _C,
        "Riebe 2015, list of signs and symptoms (seen)",
    ),
    Symptom(
        "wound_after_surgery",
        "Is there redness, discharge or an open wound near a recent operation, or new swelling after it?",
        "infection",
        _S,
        "general knowledge of guidelines (from memory)",
    ),
    Symptom(
        "pain_jump",
        "Is the pain new, severe and unexplained, or has it stayed far above its usual level for more than "
        "a day?",
        "unspecific",
        _C,
        "design choice; computed from pain reports",
        is_asked=False,
    ),
)

SYMPTOMS = {symptom.code: symptom for symptom in _ROWS}

_QUESTIONS = (
    FollowUp("feels_unwell", "Do you feel ill?", ("spine_pain_with_fever",)),
    FollowUp("weakness_is_rapid", "Has the weakness grown within hours or days?", ("new_limb_weakness",)),
    FollowUp("weakness_is_on_both_sides", "Is the weakness on both sides?", ("new_limb_weakness",)),
    FollowUp("lock_comes_and_goes", "Does the joint free itself and lock again?", ("joint_locked",)),
    FollowUp("has_fever", "Do you have a fever?", ("night_pain",)),
    FollowUp(
        "new_headache_or_jaw_pain",
        "Do you have a new headache, or jaw pain when chewing?",
        ("girdle_stiffness",),
    ),
    FollowUp("vision_changed", "Has your sight changed?", ("girdle_stiffness",)),
    FollowUp(
        "signs_are_sudden",
        "Did this start suddenly, or is it happening right now?",
        ("heart_or_circulation_signs",),
    ),
)

FOLLOW_UPS = {follow_up.code: follow_up for follow_up in _QUESTIONS}
