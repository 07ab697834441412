"""Coded symptoms, their urgency and the combinations that change it."""

import numpy as np
import pytest

from coaching.compute.red_flags import (
    SIGN_OFF,
    Answer,
    RedFlagAssessment,
    assess_symptoms,
    is_pain_jump,
    raises_questions,
)
from coaching.compute.symptom_phrases import PHRASES
from coaching.compute.symptoms import FOLLOW_UPS, SYMPTOMS, Urgency

URGENCY = {
    "emergency": {
        "saddle_numbness_or_bladder",
        "chest_pain",
        "fainting",
        "sudden_breathlessness",
        "major_injury",
        "hot_swollen_joint",
        "spine_pain_with_fever",
        "sudden_headache_or_stroke_signs",
        "new_limb_weakness",
        "dark_urine_after_training",
        "tense_painful_limb",
    },
    "same_day": {
        "unsteady_gait_or_clumsy_hands",
        "swollen_calf",
        "sudden_pop",
        "cannot_bear_weight",
        "joint_locked",
        "cancer_history",
        "spine_pain_after_minor_injury",
        "wound_after_surgery",
    },
    "clinician_review": {
        "joint_gives_way",
        "night_pain",
        "weight_loss",
        "numbness_or_tingling",
        "bone_pain_with_loading",
        "morning_stiffness",
        "girdle_stiffness",
        "heart_or_circulation_signs",
        "pain_jump",
    },
}


def assess(*yes: str, no: tuple[str, ...] = ()) -> RedFlagAssessment:
    return assess_symptoms(dict.fromkeys(yes, Answer.YES) | dict.fromkeys(no, Answer.NO), "112")


def test_the_table_has_28_rows():
    assert len(SYMPTOMS) == 28


@pytest.mark.parametrize("code", list(SYMPTOMS))
def test_each_symptom_alone_has_the_urgency_of_its_row(code: str):
    """Classes: design choice, to be signed off by a clinician."""
    assert code in URGENCY[assess(code).urgency.value]


def test_only_the_pain_jump_is_not_asked():
    assert [code for code, symptom in SYMPTOMS.items() if not symptom.is_asked] == ["pain_jump"]


def test_no_question_names_its_suspicion():
    for symptom in SYMPTOMS.values():
        assert symptom.suspicion.split(",")[0] not in symptom.question.lower()


def test_every_row_says_where_it_comes_from():
    endings = ("(seen)", "memory)", "(second-hand)", "never computed", "pain reports", "(seen, second-hand)")
    assert all(symptom.source.endswith(endings) for symptom in SYMPTOMS.values())


def test_the_sign_off_note_says_that_no_clinician_has_reviewed_it():
    assert "no clinician has reviewed it" in SIGN_OFF


@pytest.mark.parametrize(
    ("yes", "no", "urgency"),
    [
        (["spine_pain_with_fever"], ["feels_unwell"], Urgency.SAME_DAY),
        (["spine_pain_with_fever", "feels_unwell"], [], Urgency.EMERGENCY),
        (["new_limb_weakness"], ["weakness_is_rapid", "weakness_is_on_both_sides"], Urgency.SAME_DAY),
        (["new_limb_weakness"], ["weakness_is_rapid"], Urgency.EMERGENCY),
        (["new_limb_weakness", "weakness_is_on_both_sides"], ["weakness_is_rapid"], Urgency.EMERGENCY),
        (["joint_locked", "lock_comes_and_goes"], [], Urgency.CLINICIAN_REVIEW),
        (["joint_locked"], ["lock_comes_and_goes"], Urgency.SAME_DAY),
        (["night_pain", "weight_loss"], [], Urgency.SAME_DAY),
        (["night_pain", "has_fever"], [], Urgency.SAME_DAY),
        (["night_pain", "cancer_history"], [], Urgency.SAME_DAY),
        (["weight_loss", "cancer_history"], [], Urgency.SAME_DAY),
        (["girdle_stiffness", "new_headache_or_jaw_pain"], [], Urgency.SAME_DAY),
        (["girdle_stiffness", "vision_changed"], [], Urgency.EMERGENCY),
        (["heart_or_circulation_signs", "signs_are_sudden"], [], Urgency.EMERGENCY),
    ],
)
def test_combinations(yes: list[str], no: list[str], urgency: Urgency):
    assert assess(*yes, no=tuple(no)).urgency is urgency


def test_the_highest_urgency_wins_and_stands_first():
    found = assess("joint_gives_way", "swollen_calf", "chest_pain")
    assert [flag.code for flag in found.flags] == ["chest_pain", "swollen_calf", "joint_gives_way"]
    assert found.urgency is Urgency.EMERGENCY


def test_another_yes_never_lowers_the_urgency():
    for code in SYMPTOMS:
        alone = assess(code).urgency.rank
        assert all(assess(code, other).urgency.rank >= alone for other in SYMPTOMS)


def test_no_answer_is_not_no():
    found = assess()
    assert (found.urgency, found.flags, len(found.not_answered)) == (Urgency.NONE, (), 27)


def test_all_answered_no_raises_nothing_and_clears_nothing():
    found = assess(no=tuple(code for code, symptom in SYMPTOMS.items() if symptom.is_asked))
    assert (found.flags, found.not_answered) == ((), ())
    assert "not a clearance" in found.instruction


def test_an_explicit_missing_answer_is_the_same_as_none():
    assert assess_symptoms({"chest_pain": Answer.NOT_ANSWERED}).not_answered[1] == "chest_pain"


def test_open_follow_ups_of_a_raised_flag_are_to_be_asked():
    assert assess("new_limb_weakness", no=("weakness_is_rapid",)).follow_ups == ("weakness_is_on_both_sides",)


def test_follow_ups_belong_to_rows_of_the_table():
    assert all(set(follow_up.asked_after) <= set(SYMPTOMS) for follow_up in FOLLOW_UPS.values())


def test_a_follow_up_alone_raises_nothing():
    assert assess("vision_changed").flags == ()


@pytest.mark.parametrize("code", ["chest_pain", "swollen_calf", "joint_gives_way"])
def test_instructions_name_the_emergency_number(code: str):
    assert "112" in assess(code).instruction


def test_without_a_number_the_instruction_points_to_the_local_one():
    found = assess_symptoms({"chest_pain": Answer.YES})
    assert "your local emergency number" in found.instruction


def test_codes_outside_the_table_are_refused():
    with pytest.raises(ValueError, match="answers must use codes of the symptom table, got headache"):
        assess_symptoms({"headache": Answer.YES})


def jumps(pain: float, usual: float, hours: float = 0, is_explained: bool = False) -> bool:
    return bool(
        is_pain_jump(np.array([pain]), np.array([usual]), np.array([hours]), np.array([is_explained]))[0]
    )


@pytest.mark.parametrize(
    ("pain", "usual", "hours", "is_explained", "expected"),
    [
        (7, 2, 0, False, True),
        (6, 4, 0, False, False),
        (7, 7, 0, False, False),
        (7, 5, 0, True, False),
        (7, np.nan, 0, False, True),
        (5, 2, 25, True, True),
        (5, 2, 24, False, False),
        (4, 2, 48, False, False),
        (5, 2, np.nan, False, False),
        (np.nan, 2, 48, False, False),
    ],
)
def test_pain_that_jumps(pain: float, usual: float, hours: float, is_explained: bool, expected: bool):
    """7 or more, new and unexplained, or 3 or more above usual for over 24 h: design choice."""
    assert jumps(pain, usual, hours, is_explained) is expected


def test_free_text_raises_questions():
    assert "sudden_pop" in raises_questions("Heard a LOUD  pop in the Achilles")


def test_harmless_text_raises_none():
    assert raises_questions("Felt strong, last set a grind") == ()


def test_denial_in_free_text_still_raises_the_question():
    assert raises_questions("no chest pain today") == ("chest_pain",)


def test_phrases_belong_to_asked_rows_and_are_folded():
    for code, phrases in PHRASES.items():
        assert SYMPTOMS[code].is_asked
        assert all(phrase == phrase.casefold() for phrase in phrases)


def test_a_pain_jump_off_the_scale_is_refused():
    with pytest.raises(ValueError, match=r"pain_today must lie in 0 to 10 or be missing, got 11\.0"):
        jumps(11, 2)
