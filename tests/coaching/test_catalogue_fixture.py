"""The exercise catalogue as a file: every entry can be loaded, explained and counted."""

import json
import re
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

CATALOGUE_PATH = Path(__file__).parents[2] / "fixtures" / "exercises.json"
CATALOGUE: list[dict[str, Any]] = json.loads(CATALOGUE_PATH.read_text(encoding="utf-8"))
BY_CODE = {entry["code"]: entry for entry in CATALOGUE}


def words(text: str) -> set[str]:
    return set(text.split())


REQUIRED_KEYS = words(
    "code name equipment load_basis load_step_kg movement_pattern is_compound is_one_sided measure "
    "muscles stress"
)
EQUIPMENT = words("barbell dumbbell kettlebell machine cable body_weight band other")
LOAD_BASES = words("total per_hand added_to_body_mass assisted none")
PATTERNS = words(
    "horizontal_push vertical_push horizontal_pull vertical_pull squat lunge hinge hip_extension "
    "knee_extension knee_flexion calf elbow_flexion elbow_extension shoulder_abduction shoulder_flexion "
    "shoulder_rotation shoulder_extension horizontal_abduction horizontal_adduction trunk_flexion "
    "trunk_extension trunk_rotation trunk_anti_movement hip_abduction hip_adduction hip_flexion neck grip "
    "carry wrist ankle"
)
MUSCLES = words(
    "chest front_delt side_delt rear_delt rotator_cuff lats upper_back traps biceps triceps forearms "
    "neck_muscles abdominals obliques spinal_erectors glutes quadriceps hamstrings adductors hip_abductors "
    "hip_flexors calves tibialis"
)
JOINTS = words("neck thoracic_spine lumbar_spine shoulder elbow wrist hip knee ankle")
DEMO_CODES = words(
    "barbell_bench_press dumbbell_bench_press machine_chest_fly landmine_press overhead_press "
    "dumbbell_lateral_raise cable_row chest_supported_row lat_pulldown straight_arm_pulldown barbell_curl "
    "dumbbell_curl triceps_pushdown back_squat leg_press leg_extension leg_curl split_squat "
    "romanian_deadlift deadlift hip_thrust standing_calf_raise isometric_leg_extension_hold wall_sit "
    "side_plank cable_external_rotation goblet_squat step_up back_extension farmer_carry"
)


def stress_by_joint(entry: dict[str, Any]) -> dict[str, float]:
    return {row["joint"]: row["stress"] for row in entry["stress"]}


def test_catalogue_holds_90_to_110_exercises() -> None:
    assert 90 <= len(CATALOGUE) <= 110


def test_codes_and_names_are_unique() -> None:
    assert len(BY_CODE) == len(CATALOGUE)
    assert len({entry["name"] for entry in CATALOGUE}) == len(CATALOGUE)


def test_codes_are_snake_case_and_fit_their_column() -> None:
    snake_case = re.compile(r"[a-z0-9]+(_[a-z0-9]+)*")
    assert [code for code in BY_CODE if not snake_case.fullmatch(code) or len(code) > 60] == []


def test_every_entry_has_the_required_keys_and_no_unknown_one() -> None:
    odd = [code for code, entry in BY_CODE.items() if set(entry) - {"alternatives"} != REQUIRED_KEYS]
    assert odd == []


def test_every_word_comes_from_its_vocabulary() -> None:
    assert {entry["equipment"] for entry in CATALOGUE} <= EQUIPMENT
    assert {entry["load_basis"] for entry in CATALOGUE} <= LOAD_BASES
    assert {entry["measure"] for entry in CATALOGUE} == {"reps", "duration"}


def test_flags_are_booleans() -> None:
    flags = [entry[key] for entry in CATALOGUE for key in ("is_compound", "is_one_sided")]
    assert {type(flag) for flag in flags} == {bool}


def test_every_movement_pattern_is_served() -> None:
    assert {entry["movement_pattern"] for entry in CATALOGUE} == PATTERNS


def test_load_step_is_a_decimal_string_and_zero_exactly_when_nothing_is_loaded() -> None:
    assert all(isinstance(entry["load_step_kg"], str) for entry in CATALOGUE)
    for entry in CATALOGUE:
        assert (Decimal(entry["load_step_kg"]) == 0) == (entry["load_basis"] == "none"), entry["code"]


def test_load_step_is_whole_grams_and_never_negative() -> None:
    grams = {entry["code"]: Decimal(entry["load_step_kg"]) * 1000 for entry in CATALOGUE}
    assert [code for code, step in grams.items() if step < 0 or step != int(step)] == []


def test_every_exercise_trains_a_muscle_directly() -> None:
    for entry in CATALOGUE:
        assert any(row["role"] == "direct" for row in entry["muscles"]), entry["code"]


def test_muscle_roles_use_the_vocabulary_once_per_muscle() -> None:
    for entry in CATALOGUE:
        muscles = Counter(row["muscle"] for row in entry["muscles"])
        assert set(muscles) <= MUSCLES and max(muscles.values()) == 1, entry["code"]
        assert {row["role"] for row in entry["muscles"]} <= {"direct", "indirect"}, entry["code"]


def test_every_muscle_is_trained_directly_by_some_exercise() -> None:
    direct = {row["muscle"] for entry in CATALOGUE for row in entry["muscles"] if row["role"] == "direct"}
    assert direct == MUSCLES


def test_every_exercise_stresses_a_known_joint_at_a_known_level_once() -> None:
    for entry in CATALOGUE:
        joints = Counter(row["joint"] for row in entry["stress"])
        assert joints and set(joints) <= JOINTS and max(joints.values()) == 1, entry["code"]
        assert {row["stress"] for row in entry["stress"]} <= {0.25, 0.5, 1}, entry["code"]


def test_every_stress_has_a_reason_written_for_it_alone() -> None:
    reasons = Counter(row["reason"].strip().lower() for entry in CATALOGUE for row in entry["stress"])
    assert [reason for reason, count in reasons.items() if count > 1 or not 20 <= len(reason) <= 120] == []


def test_every_joint_is_the_main_or_second_joint_of_some_exercise() -> None:
    loaded = {row["joint"] for entry in CATALOGUE for row in entry["stress"] if row["stress"] >= 0.5}
    assert loaded == JOINTS


def test_a_hold_is_never_the_full_stress_of_a_joint() -> None:
    holds = [entry for entry in CATALOGUE if entry["measure"] == "duration"]
    assert [entry["code"] for entry in holds if max(stress_by_joint(entry).values()) == 1] == []


def test_alternatives_are_other_known_exercises() -> None:
    for code, entry in BY_CODE.items():
        alternatives = entry.get("alternatives", [])
        assert set(alternatives) <= set(BY_CODE) - {code}, code
        assert len(set(alternatives)) == len(alternatives), code


def test_every_alternative_asks_less_of_at_least_one_joint() -> None:
    for code, entry in BY_CODE.items():
        for alternative in entry.get("alternatives", []):
            spared = stress_by_joint(BY_CODE[alternative])
            assert any(spared.get(joint, 0) < level for joint, level in stress_by_joint(entry).items()), (
                code,
                alternative,
            )


def test_the_demo_finds_its_exercises() -> None:
    assert set(BY_CODE) >= DEMO_CODES


def test_the_demo_holds_are_measured_by_duration() -> None:
    holds = ["isometric_leg_extension_hold", "wall_sit", "side_plank", "farmer_carry"]
    assert {BY_CODE[code]["measure"] for code in holds} == {"duration"}
