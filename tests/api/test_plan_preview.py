from datetime import date, timedelta
from functools import partial

import pytest
import time_machine
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import (
    AuditEvent,
    Client,
    Injury,
    JointDay,
    JointStress,
    LiftDay,
    Membership,
    MuscleRole,
    Prescription,
    Restriction,
    ScheduledSession,
)
from coaching.operations.plans import rewrite_plan, write_plan
from coaching.reads.plans import BlockContent, DayContent, PlanContent
from tests.factories import NOW, AlertFactory, ExerciseFactory, InjuryFactory, fresh_uid
from tests.plan_builders import actor_of, knee_lift, plan_by, plan_content, prescription

MONDAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def monday_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def lift(db):
    exercise = knee_lift()
    MuscleRole.objects.create(exercise=exercise, muscle="quadriceps", role="direct")
    MuscleRole.objects.create(exercise=exercise, muscle="glutes", role="indirect")
    return exercise


@pytest.fixture
def coach_api(cast, signed_in):
    return signed_in(cast.coach)


@pytest.fixture
def make_plan(cast, lift):
    return partial(plan_by, cast.coach, lift)


@pytest.fixture
def plan(make_plan):
    return make_plan()


def ask(api, plan, client, **more):
    body = {"client": str(client.uid)} | {key: str(value) for key, value in more.items()}
    return api.post(f"/api/v1/plans/{plan.uid}/preview", body, format="json")


def preview(api, plan, client, **more):
    answer = ask(api, plan, client, **more)
    assert answer.status_code == 200, answer.json()
    return answer.json()


def trained(client, *, joint_reps=5.0, pain=1, days=60, joint="knee", side="left"):
    """Every day up to yesterday the same."""
    JointDay.objects.bulk_create(
        JointDay(
            practice=client.practice,
            client=client,
            day_on=MONDAY - timedelta(days=back),
            joint=joint,
            side=side,
            joint_reps=joint_reps,
            pain=pain,
            pain_next_morning=pain,
        )
        for back in range(1, days + 1)
    )


def lifted(client, lift, day_on, **changes):
    fields = {"side": "left", "track": "fresh", "e1rm_kg": None, "best_load_kg": 80.0} | changes
    return LiftDay.objects.create(
        practice=client.practice, client=client, exercise=lift, day_on=day_on, **fields
    )


def test_preview_comes_back_whole(cast, coach_api, plan, lift):
    injury = InjuryFactory(client=cast.client, weekly_joint_reps_cap=40)
    trained(cast.client)
    Membership.objects.filter(id=cast.coach.id).update(weekly_sets_floor=2, weekly_sets_ceiling=3)
    found = preview(coach_api, plan, cast.client)
    muscles = {row["muscle"]: row for row in found.pop("muscles")}
    assert muscles["quadriceps"] == {
        "muscle": "quadriceps",
        "left": 4.0,
        "right": 0.0,
        "verdict": "below_and_above",
    }
    assert (muscles["glutes"]["left"], muscles["glutes"]["verdict"]) == (2.0, "below")
    assert muscles["calves"] == {"muscle": "calves", "left": 0.0, "right": 0.0, "verdict": "below"}
    quiet = found["sites"][0]["tolerated"].pop("sentence")
    assert quiet.startswith("Up to 35 joint reps a week of the left knee were followed by a quiet week")
    assert found == {
        "computed": {
            "method": "sums_of_a_planned_week",
            "version": "1",
            "from_on": None,
            "until_on": "2026-03-02",
        },
        "tolerated_computed": {
            "method": "rolling_weeks_followed_by_quiet",
            "version": "1",
            "from_on": "2025-03-02",
            "until_on": "2026-03-01",
        },
        "plan": str(plan.uid),
        "plan_name": "Knee first",
        "plan_version": 1,
        "starts_on": "2026-03-02",
        "weeks": 2,
        "deload_weeks": [2],
        "needs_override_reason": True,
        "concerns": [
            {
                "code": "over_cap",
                "detail": "A week of this plan asks 58 joint reps of the left knee; its cap is 40.",
            }
        ],
        "sites": [
            {
                "joint": "knee",
                "side": "left",
                "is_guarded": True,
                "joint_reps": 58.0,
                "known_joint_load_kg": 0.0,
                "unknown_load_share": 1.0,
                "cap": 40,
                "cap_injury": str(injury.uid),
                "ratio_to_cap": 1.45,
                "tolerated": {
                    "most_done": 35.0,
                    "highest": 35.0,
                    "repeated": 35.0,
                    "separate_quiet_weeks": 7,
                    "days_of_history": 60,
                },
                "ratio_to_repeated": pytest.approx(58 / 35),
                "flags": ["over_cap", "above_highest", "above_repeated"],
                "sentence": (
                    "An ordinary week asks 58 joint reps of the left knee; over its cap of 40. That is more "
                    "than any week that a quiet one followed (35)."
                ),
            }
        ],
        "avoid": [],
        "weekly_sets_floor": 2.0,
        "weekly_sets_ceiling": 3.0,
        "work_sets": 4,
        "sets_of_unknown_effort": 0,
        "days": [
            {"day": 0, "weekday": 0, "name": "Legs", "low_min": 3.7, "high_min": 4.9},
            {"day": 1, "weekday": 3, "name": "Legs", "low_min": 3.7, "high_min": 4.9},
        ],
        "comparison": None,
    }


def test_without_floor_and_ceiling_no_muscle_is_judged(cast, coach_api, plan):
    found = preview(coach_api, plan, cast.client)
    assert {row["verdict"] for row in found["muscles"]} == {None}


def test_the_floor_is_that_of_the_coach_who_asks(cast, signed_in, plan):
    Membership.objects.filter(id=cast.coach.id).update(weekly_sets_floor=9)
    Client.objects.filter(id=cast.client.id).update(coach=cast.colleague)
    assert preview(signed_in(cast.colleague), plan, cast.client)["weekly_sets_floor"] is None


def test_sums_agree_with_what_is_laid_out_and_with_the_cap_of_an_assignment(cast, coach_api, make_plan):
    row = ExerciseFactory(code="invented_lunge", is_one_sided=True)
    for joint in ("knee", "lumbar_spine"):
        JointStress.objects.create(exercise=row, joint=joint, stress=0.5, reason="Invented")
    plan = write_plan(actor=actor_of(cast.coach), content=plan_content(row, side="both"), now=NOW).plan
    InjuryFactory(client=cast.client, joint="lumbar_spine", side="midline", weekly_joint_reps_cap=1)
    found = preview(coach_api, plan, cast.client)
    asked = {f"{site['joint']}:{site['side']}": site["joint_reps"] for site in found["sites"]}
    address = f"/api/v1/clients/{cast.client.uid}/assignments"
    body = {"plan": str(plan.uid), "starts_on": "2026-03-02"}
    refused = coach_api.post(address, body, format="json").json()
    assert [fault["detail"] for fault in refused["errors"]] == [each["detail"] for each in found["concerns"]]
    coach_api.post(address, body | {"override_reason": "Agreed"}, format="json")
    first_week = ScheduledSession.objects.filter(due_on__lt=MONDAY + timedelta(days=7))
    assert asked == {
        site: sum(each.prescribed_joint_reps[site] for each in first_week)
        for site in ("knee:left", "knee:right", "lumbar_spine:midline")
    }
    assert asked["lumbar_spine:midline"] == 2 * asked["knee:left"] == 58


@pytest.mark.parametrize("scope", ["practice", "client"])
def test_own_judgements_of_stress_count(cast, coach_api, plan, lift, scope):
    whose = {"practice": cast.practice, "client": cast.client if scope == "client" else None}
    JointStress.objects.create(exercise=lift, joint="knee", stress=0.25, reason="Half range", **whose)
    assert preview(coach_api, plan, cast.client)["sites"][0]["joint_reps"] == 14.5


def test_the_lowest_cap_of_a_site_is_named_with_its_injury(cast, coach_api, plan):
    for cap in (90, 60, 70):
        InjuryFactory(client=cast.client, weekly_joint_reps_cap=cap)
    site = preview(coach_api, plan, cast.client)["sites"][0]
    lowest = Injury.objects.get(weekly_joint_reps_cap=60)
    assert (site["cap"], site["cap_injury"], site["flags"]) == (60, str(lowest.uid), ["no_history"])


def test_stopped_site_is_flagged_and_told(cast, coach_api, plan):
    InjuryFactory(client=cast.client, status="stopped_by_clinician")
    found = preview(coach_api, plan, cast.client)
    assert found["sites"][0]["flags"] == ["stopped_by_clinician", "no_history"]
    assert "A clinician has stopped this site." in found["sites"][0]["sentence"]
    assert [each["code"] for each in found["concerns"]] == ["stopped_by_clinician"]


def test_what_to_avoid_is_named_with_the_entry_and_its_place(cast, coach_api, plan):
    injury = InjuryFactory(client=cast.client, status="settled")
    restriction = Restriction.objects.create(
        practice=cast.practice,
        injury=injury,
        kind="avoid_pattern",
        movement_pattern="squat",
        from_on=date(2026, 3, 4),
        until_on=date(2026, 3, 6),
        said_by="clinician",
    )
    found = preview(coach_api, plan, cast.client)
    (avoid,) = found["avoid"]
    assert avoid == {
        "exercise": "hack_squat_invented",
        "exercise_name": "Invented hack squat",
        "is_alternative": False,
        "kind": "avoid_pattern",
        "movement_pattern": "squat",
        "from_on": "2026-03-04",
        "until_on": "2026-03-06",
        "said_by": "clinician",
        "restriction": str(restriction.uid),
        "injury": str(injury.uid),
        "day": 1,
        "day_name": "Legs",
        "block": 0,
        "prescription": str(Prescription.objects.get(block__day__position=1).uid),
        "first_due_on": "2026-03-05",
    }
    assert preview(coach_api, plan, cast.client, starts_on="2026-03-16")["avoid"] == []


def test_alternative_to_avoid_is_marked_as_one(cast, coach_api, lift):
    other = ExerciseFactory(code="invented_lunge", movement_pattern="lunge")
    content = plan_content(lift, weekdays=(0,), alternatives=(other.code,))
    plan = write_plan(actor=actor_of(cast.coach), content=content, now=NOW).plan
    Restriction.objects.create(
        practice=cast.practice,
        injury=InjuryFactory(client=cast.client),
        kind="avoid_exercise",
        exercise=other,
        from_on=MONDAY,
        said_by="coach",
    )
    found = preview(coach_api, plan, cast.client)
    assert [(each["exercise"], each["is_alternative"]) for each in found["avoid"]] == [(other.code, True)]


def load_of(api, cast, lift, **changes):
    content = plan_content(lift, weekdays=(0,), has_warm_up_ramp=False, **changes)
    plan = write_plan(actor=actor_of(cast.coach), content=content, now=NOW).plan
    site = preview(api, plan, cast.client)["sites"][0]
    return site["known_joint_load_kg"], site["unknown_load_share"]


def test_fixed_load_is_known(cast, coach_api, lift):
    assert load_of(coach_api, cast, lift, load_rule="fixed", load_kg=60.0) == (1200.0, 0.0)


def test_share_of_1rm_is_of_the_best_of_84_days_rounded_down_to_the_equipment(cast, coach_api, lift):
    lifted(cast.client, lift, date(2026, 2, 1), e1rm_kg=101.0)
    lifted(cast.client, lift, date(2026, 2, 20), e1rm_kg=90.0)
    lifted(cast.client, lift, date(2025, 12, 7), e1rm_kg=200.0)
    share = {"load_rule": "share_of_1rm", "share_of_1rm": 0.75}
    assert load_of(coach_api, cast, lift, **share) == (20 * 75.0, 0.0)
    assert load_of(coach_api, cast, lift, **share, side="right") == (0.0, 1.0)


def test_load_from_history_is_the_newest_one_of_the_lift(cast, coach_api, lift):
    assert load_of(coach_api, cast, lift) == (0.0, 1.0)
    lifted(cast.client, lift, date(2026, 2, 1), best_load_kg=90.0)
    lifted(cast.client, lift, date(2026, 2, 20), best_load_kg=70.0)
    lifted(cast.client, lift, date(2026, 2, 25), best_load_kg=50.0, track="after:leg_press")
    assert load_of(coach_api, cast, lift) == (1400.0, 0.0)


def test_second_half_of_a_pair_takes_the_load_of_its_own_track(cast, coach_api, lift):
    first = ExerciseFactory(code="invented_fly")
    rows = [prescription(each.code, has_warm_up_ramp=False) for each in (first, lift)]
    block = BlockContent("back_to_back", 90, ("reps",), tuple(rows))
    content = PlanContent("Pair", 1, (), (DayContent(0, "Legs", (block,)),))
    plan = write_plan(actor=actor_of(cast.coach), content=content, now=NOW).plan
    lifted(cast.client, lift, date(2026, 2, 20), best_load_kg=90.0)
    lifted(cast.client, lift, date(2026, 2, 20), best_load_kg=50.0, track="after:invented_fly")
    assert preview(coach_api, plan, cast.client)["sites"][0]["known_joint_load_kg"] == 1000.0


def test_one_sided_work_takes_the_weaker_side(cast, coach_api, lift):
    type(lift).objects.filter(id=lift.id).update(is_one_sided=True)
    lifted(cast.client, lift, date(2026, 2, 20), best_load_kg=30.0, side="left")
    assert load_of(coach_api, cast, lift, side="both") == (0.0, 1.0)
    lifted(cast.client, lift, date(2026, 2, 20), best_load_kg=20.0, side="right")
    assert load_of(coach_api, cast, lift, side="both") == (400.0, 0.0)


def test_exercise_without_a_load_has_none_that_is_unknown(cast, coach_api, lift):
    type(lift).objects.filter(id=lift.id).update(load_basis="none")
    assert load_of(coach_api, cast, lift) == (0.0, 0.0)


def test_load_of_a_loaded_exercise_that_says_0_was_not_entered(cast, coach_api, lift):
    assert load_of(coach_api, cast, lift, load_rule="fixed", load_kg=0.0) == (0.0, 1.0)
    type(lift).objects.filter(id=lift.id).update(load_basis="added_to_body_mass")
    assert load_of(coach_api, cast, lift, load_rule="fixed", load_kg=0.0) == (0.0, 0.0)


def test_two_plans_side_by_side_have_equal_sets_and_other_joint_reps(cast, coach_api, lift, make_plan):
    few = make_plan(name="Few reps", reps_low=4, reps_high=5, has_warm_up_ramp=False)
    many = make_plan(name="Many reps", reps_low=12, reps_high=15, has_warm_up_ramp=False)
    found = preview(coach_api, few, cast.client, compare_with=many.uid)["comparison"]
    assert found == {
        "plan_b": str(many.uid),
        "plan_b_name": "Many reps",
        "plan_b_version": 1,
        "statement": (
            "Both plans give every muscle the same hard sets a week, within 0.5, but not the same joint "
            'reps: of the left knee "Few reps" asks 20 a week and "Many reps" 60 (3 times as many).'
        ),
        "is_same_hard_sets": True,
        "is_same_joint_reps": False,
        "muscles": [
            {"muscle": "glutes", "a": 1.0, "b": 1.0, "difference": 0.0, "sides_apart": 0.0},
            {"muscle": "quadriceps", "a": 2.0, "b": 2.0, "difference": 0.0, "sides_apart": 0.0},
        ],
        "sites": [
            {
                "joint": "knee",
                "side": "left",
                "joint_reps_a": 20.0,
                "joint_reps_b": 60.0,
                "joint_reps_ratio": 3.0,
                "joint_load_a_kg": None,
                "joint_load_b_kg": None,
                "joint_load_ratio": None,
                "is_same": False,
            }
        ],
    }


def test_of_two_plans_the_guarded_site_is_told_first(cast, coach_api, lift, make_plan):
    JointStress.objects.create(exercise=lift, joint="hip", stress=0.5, reason="Invented")
    InjuryFactory(client=cast.client, joint="hip", status="settled", pain_limit=4)
    few, many = make_plan(reps_high=7), make_plan(name="Many reps", reps_high=15)
    found = preview(coach_api, few, cast.client, compare_with=many.uid)
    assert [site["is_guarded"] for site in found["sites"]] == [True, False]
    assert "of the left hip" in found["comparison"]["statement"]


def test_plan_beside_itself_is_the_same(cast, coach_api, plan):
    found = preview(coach_api, plan, cast.client, compare_with=plan.uid)["comparison"]
    assert (found["is_same_hard_sets"], found["is_same_joint_reps"]) == (True, True)


def test_earlier_version_can_be_looked_at(cast, coach_api, plan, lift):
    content = plan_content(lift, weekdays=(1,))
    rewrite_plan(actor=actor_of(cast.coach), plan_uid=plan.uid, content=content, expected_version=1, now=NOW)
    assert len(preview(coach_api, plan, cast.client)["days"]) == 1
    body = {"client": str(cast.client.uid), "version": 1}
    old = coach_api.post(f"/api/v1/plans/{plan.uid}/preview", body, format="json").json()
    assert (old["plan_version"], len(old["days"])) == (1, 2)


def test_red_flag_refuses_the_preview_as_it_refuses_assigning(cast, coach_api, plan):
    AlertFactory(client=cast.client, kind="red_flag")
    refused = ask(coach_api, plan, cast.client)
    body = {"plan": str(plan.uid), "starts_on": "2026-03-02"}
    assigned = coach_api.post(f"/api/v1/clients/{cast.client.uid}/assignments", body, format="json")
    assert refused.status_code == assigned.status_code == 409
    assert refused.json()["detail"] == assigned.json()["detail"]
    assert "licensed clinician" in refused.json()["detail"]


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"client": "7"}, "/client"),
        ({"version": 2}, "/version"),
        ({"version": 0}, "/version"),
        ({"version": "1"}, "/version"),
        ({"starts_on": "2026-02-30"}, "/starts_on"),
        ({"compare_with": str(fresh_uid())}, "/compare_with"),
        ({"mood": "good"}, "/mood"),
    ],
)
def test_faulty_question_is_pointed_at(cast, coach_api, plan, more, pointer):
    body = {"client": str(cast.client.uid)} | more
    answer = coach_api.post(f"/api/v1/plans/{plan.uid}/preview", body, format="json")
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]


def test_start_with_no_day_left_is_pointed_at(cast, coach_api, make_plan):
    plan = make_plan(weeks=1, deload_weeks=())
    answer = ask(coach_api, plan, cast.client, starts_on="2026-03-06")
    assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/starts_on"]


def test_other_practices_plan_is_no_plan_to_compare_with(cast, coach_api, plan, lift):
    theirs = plan_by(cast.stranger, knee_lift("their_lift"))
    answer = ask(coach_api, plan, cast.client, compare_with=theirs.uid)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/compare_with")


def test_strangers_and_other_coaches_find_nothing(cast, signed_in, plan):
    assert ask(signed_in(cast.stranger), plan, cast.strangers_client).status_code == 404
    assert ask(signed_in(cast.coach), plan, cast.strangers_client).status_code == 404
    assert ask(signed_in(cast.colleague), plan, cast.client).status_code == 404
    assert ask(signed_in(cast.coach), plan, cast.colleagues_client).status_code == 404


def test_client_looks_at_no_plan(cast, signed_in, plan):
    assert ask(signed_in(cast.client), plan, cast.client).status_code == 403


def test_client_who_left_has_no_preview(cast, coach_api, plan):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    assert ask(coach_api, plan, cast.client).status_code == 410


def row_counts():
    models = apps.get_app_config("coaching").get_models()
    return {model.__name__: model._default_manager.count() for model in models}


def test_nothing_is_stored_but_that_it_was_read(cast, coach_api, plan, make_plan):
    trained(cast.client)
    InjuryFactory(client=cast.client, weekly_joint_reps_cap=1)
    other = make_plan(name="Other")
    before = row_counts()
    preview(coach_api, plan, cast.client, compare_with=other.uid)
    after = row_counts()
    assert after.pop("AuditEvent") == before.pop("AuditEvent") + 1
    assert after == before
    event = AuditEvent.objects.get(record_kind="plan_preview")
    assert (event.action, event.subject_key) == ("read", cast.client.audit_key)


def queries_of(api, plan, client, **more):
    with CaptureQueriesContext(
        connection,
    ) as queries:
        preview(api, plan, client, **more)
    return len(queries)


def test_number_of_queries_does_not_grow(cast, coach_api, make_plan):
    small = make_plan(weekdays=(0,), weeks=1, deload_weeks=())
    large = make_plan(weekdays=tuple(range(7)), weeks=12)
    few = queries_of(coach_api, small, cast.client)
    trained(cast.client)
    trained(cast.client, joint="hip", side="right")
    for _ in range(5):
        InjuryFactory(client=cast.client, weekly_joint_reps_cap=1)
    assert queries_of(coach_api, large, cast.client) <= few
    assert few <= 30
