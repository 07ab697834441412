"""Joint days and lift days: what each set and report counts for, rebuilt as often as you like."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coaching.models import JointDay, JointStress, LiftDay, LoggedSet, PainReport, Session
from coaching.operations.rollups import rebuild_days
from tests.factories import NOW, ExerciseFactory

DAY = date(2026, 3, 2)


@pytest.fixture
def squat(db):
    exercise = ExerciseFactory(code="invented_squat")
    for joint, stress in [("knee", 1.0), ("hip", 0.5), ("lumbar_spine", 0.25)]:
        JointStress.objects.create(exercise=exercise, joint=joint, stress=stress, reason="Invented")
    return exercise


@pytest.fixture
def press(db):
    return ExerciseFactory(code="invented_press")


@pytest.fixture
def session(cast):
    def start(on=DAY, **changes):
        fields = {
            "practice": cast.practice,
            "client": cast.client,
            "performed_at": datetime.combine(on, time(18), ZoneInfo("Europe/Berlin")),
            "zone": "Europe/Berlin",
            "performed_on": on,
            "content_hash": "v1:any",
            "received_at": NOW,
        }
        return Session.objects.create(**fields | changes)

    return start


@pytest.fixture
def train(cast, session):
    """Log one session of these sets and rebuild its day."""

    def log(*sets, on=DAY, **of_session):
        held = session(on, **of_session)
        for position, changes in enumerate(sets, start=1):
            fields = {
                "practice": cast.practice,
                "session": held,
                "position": position,
                "kind": "work",
                "side": "both",
                "load_thousandths": 100_000,
                "reps": 5,
                "rir": 2.0,
                "ended_by": "target",
            }
            LoggedSet.objects.create(**fields | changes)
        rebuild_days(client=cast.client, days={on})
        return held

    return log


@pytest.fixture
def feel(cast):
    def report(pain, moment="during", felt_on=DAY, **changes):
        fields = {
            "practice": cast.practice,
            "client": cast.client,
            "joint": "knee",
            "side": "left",
            "moment": moment,
            "pain": pain,
            "reported_at": NOW,
            "felt_on": felt_on,
            "content_hash": "v1:any",
            "received_at": NOW,
        }
        PainReport.objects.create(**fields | changes)
        rebuild_days(client=cast.client, days={felt_on})

    return report


def joint_reps():
    return {f"{row.joint}:{row.side}": row.joint_reps for row in JointDay.objects.all()}


def joint_load_kg():
    return {f"{row.joint}:{row.side}": row.joint_load_kg for row in JointDay.objects.all()}


def e1rm_kg():
    return LiftDay.objects.get().e1rm_kg


def rows_of(model):
    kept = model.objects.order_by("day_on", "id").values()
    return sorted(str({k: v for k, v in row.items() if k != "id"}) for row in kept)


def test_set_of_both_sides_counts_once_for_each_side_and_once_for_the_midline(train, squat):
    train({"exercise": squat, "reps": 8})
    assert joint_reps() == {
        "knee:left": 8,
        "knee:right": 8,
        "hip:left": 4,
        "hip:right": 4,
        "lumbar_spine:midline": 2,
    }


def test_one_sided_set_counts_for_its_side_and_the_midline(train, squat):
    train({"exercise": squat, "reps": 8, "side": "left"})
    assert joint_reps() == {"knee:left": 8, "hip:left": 4, "lumbar_spine:midline": 2}


def test_a_set_of_each_side_makes_the_midline_work_twice(train, squat):
    train(
        {"exercise": squat, "reps": 8, "side": "left"},
        {"exercise": squat, "reps": 8, "side": "right"},
    )
    assert (joint_reps()["knee:left"], joint_reps()["lumbar_spine:midline"]) == (8, 4)


def test_warm_ups_count_for_the_joints_and_not_for_the_lift(train, squat):
    train({"exercise": squat, "reps": 5, "kind": "warm_up"}, {"exercise": squat, "reps": 6})
    assert joint_reps()["knee:left"] == 11
    lift = LiftDay.objects.get()
    assert (lift.work_sets, lift.best_reps) == (1, 6)


def test_warm_ups_alone_make_no_lift_day(train, squat):
    train({"exercise": squat, "kind": "warm_up"})
    assert JointDay.objects.exists()
    assert not LiftDay.objects.exists()


def test_hold_counts_as_one_repetition_of_its_joints(train, squat):
    squat.measure = "duration"
    squat.save()
    train({"exercise": squat, "reps": None, "duration_s": 45, "load_thousandths": 20_000})
    assert (joint_reps()["knee:left"], joint_load_kg()["knee:left"]) == (1, 20)
    lift = LiftDay.objects.get()
    assert (lift.e1rm_kg, lift.best_reps, lift.volume_load_kg) == (None, None, 0)


def test_joint_load_is_repetitions_times_stress_times_kilograms(train, squat):
    train({"exercise": squat, "reps": 4, "load_thousandths": 60_000})
    assert (joint_load_kg()["knee:left"], joint_load_kg()["hip:left"]) == (240, 120)


def test_pounds_count_as_their_exact_kilograms(train, squat):
    train({"exercise": squat, "reps": 1, "load_thousandths": 100_000, "load_unit": "lb"})
    assert joint_load_kg()["knee:left"] == pytest.approx(45.359237)
    assert LiftDay.objects.get().best_load_kg == pytest.approx(45.359237)


def test_unconfirmed_load_counts_its_repetitions_but_no_load_and_no_strength(train, squat):
    train({"exercise": squat, "reps": 5, "load_thousandths": 1_000_000, "is_to_confirm": True})
    assert (joint_reps()["knee:left"], joint_load_kg()["knee:left"]) == (5, 0)
    assert not LiftDay.objects.exists()


def test_confirmed_load_counts_from_then_on(cast, train, squat):
    train({"exercise": squat, "reps": 5, "load_thousandths": 150_000, "is_to_confirm": True})
    LoggedSet.objects.update(is_to_confirm=False)
    rebuild_days(client=cast.client, days={DAY})
    assert joint_load_kg()["knee:left"] == 750
    assert LiftDay.objects.get().best_load_kg == 150


def test_e1rm_is_epley_on_repetitions_done_and_in_reserve(train, squat):
    """Epley 1985, Poundage Chart: load x (1 + r / 30), here with r = 5 + 2."""
    train({"exercise": squat, "reps": 5, "rir": 2.0})
    assert e1rm_kg() == pytest.approx(100 * (1 + 7 / 30))


def test_set_to_failure_left_nothing_in_reserve_whatever_was_typed(train, squat):
    train({"exercise": squat, "reps": 5, "rir": 3.0, "ended_by": "failure"})
    assert e1rm_kg() == pytest.approx(100 * (1 + 5 / 30))
    assert LiftDay.objects.get().best_rir == 0


@pytest.mark.parametrize(
    "changes",
    [
        {"ended_by": "pain"},
        {"rir": None},
        {"reps": 11, "rir": 0.0},
        {"reps": 9, "rir": 1.5},
        {"rir": 4.5},
        {"reps": 0},
        {"load_thousandths": 0},
    ],
    ids=["ended by pain", "reserve unknown", "11 reps", "10.5 to failure", "a guess", "no rep", "no load"],
)
def test_set_that_says_nothing_of_strength_gives_no_e1rm(train, squat, changes):
    train({"exercise": squat} | changes)
    assert e1rm_kg() is None
    assert LiftDay.objects.get().work_sets == 1


@pytest.mark.parametrize("load_basis", ["assisted", "added_to_body_mass"])
def test_a_load_off_or_on_a_body_is_not_the_whole_load_and_gives_no_e1rm(train, squat, load_basis):
    squat.load_basis = load_basis
    squat.save()
    train({"exercise": squat, "reps": 5, "load_thousandths": 20_000})
    assert e1rm_kg() is None


def test_ten_repetitions_to_failure_are_the_most_that_count(train, squat):
    train({"exercise": squat, "reps": 10, "rir": 0.0})
    assert e1rm_kg() == pytest.approx(100 * (1 + 10 / 30))


def test_best_e1rm_of_the_day_stands_whichever_set_was_heaviest(train, squat):
    train(
        {"exercise": squat, "reps": 1, "rir": 0.0, "load_thousandths": 110_000},
        {"exercise": squat, "reps": 8, "rir": 0.0, "load_thousandths": 100_000},
    )
    lift = LiftDay.objects.get()
    assert lift.e1rm_kg == pytest.approx(100 * (1 + 8 / 30))
    assert (lift.best_load_kg, lift.best_reps, lift.work_sets) == (110, 1, 2)
    assert lift.volume_load_kg == 110 + 800


def test_one_set_ended_by_pain_marks_the_day(train, squat):
    train({"exercise": squat}, {"exercise": squat, "ended_by": "pain"})
    lift = LiftDay.objects.get()
    assert lift.is_pain_limited
    assert lift.e1rm_kg is not None


def test_deload_session_marks_the_lift_day(train, squat):
    train({"exercise": squat}, is_deload=True)
    assert LiftDay.objects.get().is_deload


def test_set_straight_after_another_lift_has_a_track_of_its_own(train, squat, press):
    train(
        {"exercise": press},
        {"exercise": squat, "follows_position": 1},
        {"exercise": squat, "load_thousandths": 105_000},
    )
    tracks = set(LiftDay.objects.values_list("exercise__code", "track", "best_load_kg"))
    assert tracks == {
        ("invented_press", "fresh", 100.0),
        ("invented_squat", "after:invented_press", 100.0),
        ("invented_squat", "fresh", 105.0),
    }


def test_track_is_named_after_a_warm_up_too_when_that_was_the_set_before(train, squat, press):
    train({"exercise": press, "kind": "warm_up"}, {"exercise": squat, "follows_position": 1})
    assert LiftDay.objects.get().track == "after:invented_press"


def test_each_side_of_a_lift_has_a_day_of_its_own(train, squat):
    train({"exercise": squat, "side": "left"}, {"exercise": squat, "side": "right", "reps": 4})
    assert dict(LiftDay.objects.values_list("side", "best_reps")) == {"left": 5, "right": 4}


def test_two_sessions_of_a_day_add_up(train, squat):
    train({"exercise": squat, "reps": 5})
    train({"exercise": squat, "reps": 6})
    assert joint_reps()["knee:left"] == 11
    assert LiftDay.objects.get().work_sets == 2


def test_rebuilding_twice_is_rebuilding_once(cast, train, feel, squat, press):
    train({"exercise": press}, {"exercise": squat, "follows_position": 1})
    feel(4)
    once = rows_of(JointDay), rows_of(LiftDay)
    rebuild_days(client=cast.client, days=[DAY, DAY])
    assert (rows_of(JointDay), rows_of(LiftDay)) == once


def test_other_days_and_other_clients_are_left_alone(cast, train, squat):
    train({"exercise": squat}, on=DAY - timedelta(days=1))
    before = rows_of(JointDay), rows_of(LiftDay)
    LoggedSet.objects.update(reps=9)
    rebuild_days(client=cast.client, days={DAY})
    rebuild_days(client=cast.colleagues_client, days={DAY - timedelta(days=1)})
    assert (rows_of(JointDay), rows_of(LiftDay)) == before


def test_deleted_session_leaves_nothing_behind(cast, train, squat):
    held = train({"exercise": squat})
    Session.objects.filter(id=held.id).update(deleted_at=NOW)
    rebuild_days(client=cast.client, days={DAY})
    assert not JointDay.objects.exists()
    assert not LiftDay.objects.exists()


def test_no_days_are_no_work(cast, train, squat):
    train({"exercise": squat})
    rebuild_days(client=cast.client, days=[])
    assert JointDay.objects.exists()


@pytest.mark.parametrize(
    ("during", "after", "next_morning"), [(5, 3, 2), (3, 5, 2), (2, 3, 5)], ids=["during", "after", "next"]
)
def test_pain_of_the_day_is_the_highest_of_during_after_and_next_morning(feel, during, after, next_morning):
    feel(during, "during")
    feel(after, "after")
    feel(next_morning, "next_morning")
    day = JointDay.objects.get()
    assert (day.pain, day.pain_next_morning) == (5, next_morning)


@pytest.mark.parametrize("moment", ["before", "at_rest"])
def test_pain_before_and_at_rest_is_no_pain_of_the_day(feel, moment):
    feel(8, moment)
    assert JointDay.objects.get().pain is None


def test_no_report_is_unknown_and_not_zero(train, squat):
    train({"exercise": squat})
    assert set(JointDay.objects.values_list("pain", "pain_next_morning")) == {(None, None)}


def test_reported_zero_is_zero_and_not_unknown(feel):
    feel(0)
    feel(0, "next_morning")
    assert JointDay.objects.values_list("pain", "pain_next_morning").get() == (0, 0)


def test_pain_and_training_of_a_site_share_its_day(train, feel, squat):
    train({"exercise": squat, "reps": 8})
    feel(4)
    day = JointDay.objects.get(joint="knee", side="left")
    assert (day.joint_reps, day.pain) == (8, 4)
    assert JointDay.objects.get(joint="knee", side="right").pain is None


def test_site_that_is_not_on_the_list_is_never_rolled_up(feel):
    feel(7, joint="other", other_site="Left rib")
    assert not JointDay.objects.exists()


def test_client_with_a_stress_of_their_own_is_counted_by_it(cast, train, squat):
    JointStress.objects.create(
        exercise=squat,
        practice=cast.practice,
        client=cast.client,
        joint="knee",
        stress=0.25,
        reason="Straps",
    )
    train({"exercise": squat, "reps": 8})
    assert joint_reps()["knee:left"] == 2
