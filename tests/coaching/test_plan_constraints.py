"""Each constraint of exercises, plans and the calendar: one row it takes, and one it does not."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from coaching.models import (
    Assignment,
    Block,
    Exercise,
    JointStress,
    MuscleRole,
    Plan,
    PlanDay,
    PlanVersion,
    Prescription,
    ScheduledSession,
)
from tests.factories import NOW, ClientFactory, ExerciseFactory, PracticeFactory, fresh_uid


@pytest.fixture
def practice(db):
    return PracticeFactory()


@pytest.fixture
def exercise(db):
    return ExerciseFactory()


@pytest.fixture
def version(practice):
    plan = Plan.objects.create(practice=practice, name="Any", created_at=NOW)
    return PlanVersion.objects.create(plan=plan, number=1, weeks=4, created_at=NOW)


@pytest.fixture
def day(version):
    return PlanDay.objects.create(version=version, position=0, weekday=0, name="Any")


@pytest.fixture
def block(day):
    return Block.objects.create(day=day, position=0, kind="straight_sets")


@pytest.fixture
def prescribe(practice, exercise, block):
    def build(**changes):
        fields = {
            "practice": practice,
            "block": block,
            "position": 0,
            "exercise": exercise,
            "sets": 2,
            "reps_low": 6,
            "reps_high": 10,
            "effort_target": "failure",
            "load_rule": "from_history",
        }
        return Prescription.objects.create(**fields | changes)

    return build


@pytest.fixture
def assign(version):
    client = ClientFactory(coach__practice=version.plan.practice)

    def build(**changes):
        fields = {
            "practice": client.practice,
            "client": client,
            "plan_version": version,
            "starts_on": date(2026, 3, 2),
            "created_at": NOW,
        }
        return Assignment.objects.create(**fields | changes)

    return build


@pytest.fixture
def schedule(assign, day):
    assignment = assign()

    def build(**changes):
        fields = {
            "practice": assignment.practice,
            "client": assignment.client,
            "assignment": assignment,
            "plan_day": day,
            "due_on": date(2026, 3, 2),
            "prescribed_sets": 2,
            "prescribed_reps": 12,
        }
        return ScheduledSession.objects.create(**fields | changes)

    return build


@pytest.fixture
def judge(exercise):
    def build(**changes):
        fields = {"exercise": exercise, "joint": "knee", "stress": 0.5, "reason": "Invented"}
        return JointStress.objects.create(**fields | changes)

    return build


def refused(name):
    """The database refuses, and SQLite and PostgreSQL both say by which constraint or columns."""
    return pytest.raises(IntegrityError, match=name)


@pytest.mark.parametrize(
    "changes",
    [{"load_basis": "assisted"}, {"load_basis": "none"}, {"measure": "duration"}, {"measure": "reps"}],
)
def test_exercise_of_known_words_is_kept(db, changes):
    assert ExerciseFactory(**changes).pk


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"load_basis": "guess"}, "exercise_load_basis_known"),
        ({"measure": "miles"}, "exercise_measure_known"),
    ],
)
def test_exercise_of_unknown_words_is_refused(db, changes, name):
    with refused(name), transaction.atomic():
        ExerciseFactory(**changes)


def test_code_stands_once_in_the_catalogue(exercise):
    with refused("exercise_code_unique_in_catalogue|exercise.code"), transaction.atomic():
        ExerciseFactory(code=exercise.code)


def test_code_stands_once_in_a_practice_and_again_in_another(practice):
    ExerciseFactory(code="own_lift", practice=practice)
    ExerciseFactory(code="own_lift", practice=PracticeFactory())
    ExerciseFactory(code="own_lift")
    with refused("exercise_code_unique_in_practice|exercise.practice_id"), transaction.atomic():
        ExerciseFactory(code="own_lift", practice=practice)
    assert Exercise.objects.filter(code="own_lift").count() == 3


def test_muscle_has_one_known_role_per_exercise(exercise):
    MuscleRole.objects.create(exercise=exercise, muscle="glutes", role="direct")
    MuscleRole.objects.create(exercise=exercise, muscle="lats", role="indirect")
    with refused("musclerole_role_known"), transaction.atomic():
        MuscleRole.objects.create(exercise=exercise, muscle="chest", role="main")
    with refused("musclerole_once_per_muscle|musclerole.muscle"), transaction.atomic():
        MuscleRole.objects.create(exercise=exercise, muscle="glutes", role="indirect")


@pytest.mark.parametrize("stress", [0, 0.25, 0.5, 1])
def test_stress_on_a_known_level_is_kept(judge, stress):
    assert judge(stress=stress).pk


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"stress": 0.75}, "jointstress_level_known"),
        ({"stress": -0.25}, "jointstress_level_known"),
        ({"stress": float("inf")}, "jointstress_level_known"),
        ({"joint": "other"}, "jointstress_joint_known"),
        ({"joint": "jaw"}, "jointstress_joint_known"),
        ({"reason": ""}, "jointstress_has_reason"),
    ],
)
def test_faulty_stress_is_refused(judge, changes, name):
    with refused(name), transaction.atomic():
        judge(**changes)


def test_stress_of_a_client_names_the_practice(judge):
    client = ClientFactory()
    with refused("jointstress_client_in_practice"), transaction.atomic():
        judge(client=client)
    assert judge(client=client, practice=client.practice).pk


def test_stress_stands_once_for_catalogue_practice_and_client(judge):
    client = ClientFactory()
    levels = [
        ({}, "jointstress_once_in_catalogue|exercise_id"),
        ({"practice": client.practice}, "jointstress_once_per_practice|exercise_id"),
        ({"practice": client.practice, "client": client}, "jointstress_once_per_client|exercise_id"),
    ]
    for owner, name in levels:
        judge(**owner)
        with refused(name), transaction.atomic():
            judge(**owner)
    assert JointStress.objects.filter(joint="knee", reason="Invented").count() == 3


@pytest.mark.parametrize("weeks", [1, 104])
def test_plan_of_possible_weeks_is_kept(version, weeks):
    assert PlanVersion.objects.create(plan=version.plan, number=2, weeks=weeks, created_at=NOW).pk


@pytest.mark.parametrize("weeks", [0, 105])
def test_plan_of_impossible_weeks_is_refused(version, weeks):
    with refused("planversion_weeks_possible"), transaction.atomic():
        PlanVersion.objects.create(plan=version.plan, number=2, weeks=weeks, created_at=NOW)


def test_version_number_stands_once_per_plan(version):
    with refused("planversion_number_unique|planversion.number"), transaction.atomic():
        PlanVersion.objects.create(plan=version.plan, number=1, weeks=4, created_at=NOW)


@pytest.mark.parametrize("weekday", [0, 6])
def test_weekday_of_the_week_is_kept(version, weekday):
    assert PlanDay.objects.create(version=version, position=1, weekday=weekday, name="Any").pk


def test_eighth_weekday_is_refused(version):
    with refused("planday_weekday_of_week"), transaction.atomic():
        PlanDay.objects.create(version=version, position=1, weekday=7, name="Any")


def test_positions_stand_once(day, block, prescribe):
    prescribe()
    with refused("planday_position_unique|planday.position"), transaction.atomic():
        PlanDay.objects.create(version=day.version, position=0, weekday=1, name="Any")
    with refused("block_position_unique|block.position"), transaction.atomic():
        Block.objects.create(day=day, position=0, kind="back_to_back")
    with refused("prescription_position_unique|prescription.position"), transaction.atomic():
        prescribe()
    assert prescribe(position=1).pk


def test_block_is_of_a_known_kind(day):
    assert Block.objects.create(day=day, position=1, kind="back_to_back").pk
    with refused("block_kind_known"), transaction.atomic():
        Block.objects.create(day=day, position=2, kind="circuit")


@pytest.mark.parametrize(
    "changes",
    [
        {"sets": 1},
        {"sets": 50},
        {"reps_low": 1, "reps_high": 1},
        {"reps_low": 1000, "reps_high": 1000},
        {"reps_low": None, "reps_high": None, "duration_s": 1},
        {"effort_target": "reps_in_reserve", "rir_target": 0},
        {"effort_target": "reps_in_reserve", "rir_target": 10},
        {"load_rule": "fixed", "load_kg": 0},
        {"load_rule": "fixed", "load_kg": 1000},
        {"load_rule": "share_of_1rm", "share_of_1rm": 0.05},
        {"load_rule": "share_of_1rm", "share_of_1rm": 1.1},
        {"side": "left"},
        {"side": "right"},
    ],
)
def test_possible_prescription_is_kept(prescribe, changes):
    assert prescribe(**changes).pk


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"sets": 0}, "prescription_sets_possible"),
        ({"sets": 51}, "prescription_sets_possible"),
        ({"reps_low": 0}, "prescription_reps_or_duration"),
        ({"reps_low": 10, "reps_high": 6}, "prescription_reps_or_duration"),
        ({"reps_high": 1001}, "prescription_reps_or_duration"),
        ({"reps_low": None}, "prescription_reps_or_duration"),
        ({"reps_high": None}, "prescription_reps_or_duration"),
        ({"reps_low": None, "reps_high": None}, "prescription_reps_or_duration"),
        ({"duration_s": 30}, "prescription_reps_or_duration"),
        ({"reps_low": None, "reps_high": None, "duration_s": 0}, "prescription_reps_or_duration"),
        ({"rir_target": -0.5}, "prescription_rir_possible"),
        ({"rir_target": 10.5}, "prescription_rir_possible"),
        ({"load_kg": -1}, "prescription_load_possible"),
        ({"load_kg": 1000.5}, "prescription_load_possible"),
        ({"load_kg": float("inf")}, "prescription_load_possible"),
        ({"share_of_1rm": 0.04}, "prescription_share_possible"),
        ({"share_of_1rm": 1.11}, "prescription_share_possible"),
        ({"side": "mid"}, "prescription_side_known"),
        ({"effort_target": "easy"}, "prescription_effort_known"),
        ({"load_rule": "guess"}, "prescription_load_rule_known"),
    ],
)
def test_impossible_prescription_is_refused(prescribe, changes, name):
    with refused(name), transaction.atomic():
        prescribe(**changes)


@pytest.mark.parametrize("ends_on", [None, date(2026, 3, 2), date(2026, 4, 1)])
def test_assignment_in_order_is_kept(assign, ends_on):
    assert assign(ends_on=ends_on).pk


def test_assignment_that_ends_before_it_starts_is_refused(assign):
    with refused("assignment_dates_in_order"), transaction.atomic():
        assign(ends_on=date(2026, 3, 1))


@pytest.mark.parametrize("status", ["planned", "not_done", "cancelled", "clinician_stop"])
def test_scheduled_session_of_known_status_is_kept(schedule, status):
    assert schedule(status=status).pk


def test_scheduled_session_of_unknown_status_is_refused(schedule):
    with refused("scheduledsession_status_known"), transaction.atomic():
        schedule(status="lazy")


def test_plan_day_is_due_once_on_a_date(schedule):
    schedule()
    assert schedule(due_on=date(2026, 3, 9)).pk
    with refused("scheduledsession_once_per_day|scheduledsession.due_on"), transaction.atomic():
        schedule()


def test_world_id_stands_once_in_a_practice_and_again_in_another(practice):
    uid = fresh_uid()
    Plan.objects.create(practice=practice, uid=uid, name="Any", created_at=NOW)
    Plan.objects.create(practice=PracticeFactory(), uid=uid, name="Any", created_at=NOW)
    with refused("plan_uid_unique|plan.uid"), transaction.atomic():
        Plan.objects.create(practice=practice, uid=uid, name="Any", created_at=NOW)
