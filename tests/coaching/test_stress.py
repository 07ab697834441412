import pytest

from coaching.models import JointStress
from coaching.reads.stress import practice_stresses, stress_table, stresses_for
from tests.factories import ExerciseFactory


def put(exercise, joint, stress, practice=None, client=None):
    return JointStress.objects.create(
        exercise=exercise, joint=joint, stress=stress, practice=practice, client=client, reason="invented"
    )


@pytest.fixture
def lift(db):
    exercise = ExerciseFactory()
    put(exercise, "knee", 1.0)
    put(exercise, "hip", 0.5)
    return exercise


def read(cast, client, *exercises):
    return stresses_for(
        practice_id=cast.practice.id, client_id=client.id, exercise_ids=[row.id for row in exercises]
    )


def test_catalogue_stands_without_overrides(cast, lift):
    assert read(cast, cast.client, lift) == {lift.id: {"knee": 1.0, "hip": 0.5}}


def test_practice_wins_over_catalogue_and_client_over_practice(cast, lift):
    put(lift, "knee", 0.5, cast.practice)
    put(lift, "knee", 0.25, cast.practice, cast.client)
    assert read(cast, cast.client, lift)[lift.id]["knee"] == 0.25
    assert read(cast, cast.colleagues_client, lift)[lift.id]["knee"] == 0.5


def test_zero_override_takes_the_joint_out(cast, lift):
    put(lift, "knee", 0.0, cast.practice, cast.client)
    assert read(cast, cast.client, lift) == {lift.id: {"hip": 0.5}}


def test_other_practices_judgement_is_not_seen(cast, lift):
    put(lift, "knee", 0.0, cast.stranger.practice)
    put(lift, "hip", 0.0, cast.stranger.practice, cast.strangers_client)
    assert read(cast, cast.client, lift) == {lift.id: {"knee": 1.0, "hip": 0.5}}


def test_exercise_without_stress_is_present_and_empty(cast, lift):
    bare = ExerciseFactory()
    assert read(cast, cast.client, lift, bare)[bare.id] == {}


def test_practice_view_says_where_each_entry_comes_from(cast, lift):
    put(lift, "knee", 0.0, cast.practice)
    standing = practice_stresses(practice_id=cast.practice.id, exercise_ids=[lift.id])[lift.id]
    assert {joint: (row.stress, row.source) for joint, row in standing.items()} == {
        "knee": (0.0, "practice"),
        "hip": (0.5, "catalogue"),
    }


def test_table_of_many_clients_costs_one_query(cast, lift, django_assert_num_queries):
    put(lift, "knee", 0.25, cast.practice, cast.client)
    with django_assert_num_queries(1):
        table = stress_table(
            practice_id=cast.practice.id,
            client_ids=[cast.client.id, cast.colleagues_client.id],
            exercise_ids=[lift.id, ExerciseFactory.build(id=999_999).id],
        )
    assert table.stresses_for(cast.client.id)[lift.id]["knee"] == 0.25
    assert table.stresses_for(cast.colleagues_client.id)[lift.id]["knee"] == 1.0
