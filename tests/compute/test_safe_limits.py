"""What holds advice back: pain, open flags, deload, lay-off, the coach's cap."""

from decimal import Decimal

import pytest

from coaching.compute.advice_reasons import Reason
from coaching.compute.equipment import Equipment
from coaching.compute.next_load import next_block, next_prescription
from coaching.compute.pain_gate import ExposurePain, PainGate, pain_gate
from coaching.compute.prescribing import LEVERS, Advice, PastExposure, Target
from tests.compute.prescribed import FAILED, KG, PASSED, UNKNOWN, member, past, work_set

FIXED = Target(1, 6, 10, load_rule="fixed", load_kg=Decimal(80))


def history(*loads: tuple[float, bool | None]) -> list[PastExposure]:
    """Ten repetitions each, which would earn a rise; load and whether its pain kept the rules."""
    return [
        past(work_set(load, 10), days_ago=3 * (len(loads) - place), had_passed_gate=passed)
        for place, (load, passed) in enumerate(loads)
    ]


def after_pain(*loads: tuple[float, bool | None], **known: object) -> Advice:
    return next_prescription(member(*history(*loads), gates=(PASSED, FAILED), **known), LEVERS)


def test_after_pain_it_is_one_step_below_the_last_load_that_passed():
    advice = after_pain((57.5, True), (60, True), (65, False))
    assert (advice.load_kg, advice.lever) == (Decimal("57.5"), None)
    assert advice.reasons == (Reason.PAIN_FAILED, Reason.PAIN_DURING)


def test_a_load_that_failed_itself_is_not_prescribed_again():
    assert after_pain((60, True), (62.5, False), (57.5, False)).load_kg == 55


def test_a_calm_exposure_after_the_failure_holds_its_load():
    assert after_pain((60, True), (62.5, False), (57.5, True)).load_kg == Decimal("57.5")


def test_where_no_load_ever_passed_it_is_a_step_below_the_lowest():
    assert after_pain((50, None), (60, False)).load_kg == Decimal("47.5")


def test_a_failure_of_the_week_lowers_the_last_load_that_passed():
    assert after_pain((60, True), (62.5, True)).load_kg == 60


def test_after_pain_the_load_never_goes_up_to_an_older_one():
    assert after_pain((60, True), (40, None)).load_kg == 40


def test_pain_with_the_lowest_load_holds_it_and_says_so():
    advice = after_pain((20, False), equipment=Equipment(2500, lowest_thousandths=20_000))
    assert advice.load_kg == 20
    assert advice.reasons == (Reason.PAIN_FAILED, Reason.PAIN_DURING, Reason.AT_LOWEST_LOAD)


def test_pain_without_a_load_moves_nothing():
    advice = after_pain((0, False), equipment=Equipment(2500, load_basis="none"))
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (None, 10, None)


def test_after_pain_assistance_goes_up():
    assert after_pain((20, True), (15, False), equipment=Equipment(5000, load_basis="assisted")).load_kg == 25


def test_pain_brings_a_fixed_load_down_too():
    assert after_pain((80, True), (80, False), target=FIXED).load_kg == Decimal("77.5")
    assert next_prescription(member(target=FIXED, gates=(FAILED,))).load_kg == Decimal("77.5")


def test_an_unknown_gate_holds_every_lever_and_asks_for_the_report():
    advice = next_prescription(member(*history((60, True)), gates=(PASSED, UNKNOWN)), LEVERS)
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (60, 10, None)
    assert advice.reasons == (Reason.PAIN_UNKNOWN, Reason.NO_NEXT_MORNING)
    assert "please report it" in advice.sentence


def test_an_unknown_gate_holds_a_fixed_load_that_was_raised():
    assert next_prescription(member(*history((70, True)), target=FIXED, gates=(UNKNOWN,))).load_kg == 70


def test_a_failure_outweighs_what_is_unknown():
    advice = next_prescription(member(*history((60, True), (65, False)), gates=(UNKNOWN, FAILED)))
    assert advice.reasons[0] == Reason.PAIN_FAILED


def test_when_every_gate_passed_the_lever_moves():
    assert next_prescription(member(*history((60, True)), gates=(PASSED, PASSED))).lever == "load"


@pytest.mark.parametrize(
    "pains",
    [[(6, 2, 1)], [(3, 6, 1)], [(3, 2, 5)], [], [(None, None, 1)], [(3, 2, None)], [(3, 2, 3)]],
)
def test_every_reason_of_the_pain_gate_is_a_reason_of_advice(pains: list):
    reports = [ExposurePain(*each) for each in pains]
    found = pain_gate(reports * 2, usual_morning=None)
    assert Reason(found.reason)


def test_a_rising_week_is_a_reason_of_advice():
    assert Reason("week_rising") == Reason.WEEK_RISING


def test_an_open_flag_gives_no_number_at_all():
    advice = next_prescription(member(*history((60, True)), is_blocked=True), LEVERS)
    numbers = (advice.load_kg, advice.load_thousandths, advice.sets, advice.reps_low, advice.reps_high)
    assert numbers == (None,) * 5
    assert (advice.reps_aim, advice.duration_s, advice.rest_s, advice.tempo) == (None, None, None, "")
    assert advice.reasons == (Reason.REFER_OUT,)
    assert not any(letter.isdigit() for letter in advice.sentence)


def test_an_open_flag_of_one_half_holds_the_other():
    halves = [member(*history((30, True))), member(*history((60, True)), second=True, is_blocked=True)]
    first, second = next_block(halves, LEVERS)
    assert (first.load_kg, first.lever, first.reasons) == (30, None, (Reason.OTHER_HALF_HELD,))
    assert second.reasons == (Reason.REFER_OUT,)


def test_pain_in_one_half_holds_the_other():
    halves = [member(*history((30, True))), member(*history((60, False)), second=True, gates=(FAILED,))]
    assert [each.lever for each in next_block(halves, LEVERS)] == [None, None]


def test_a_set_that_pain_ended_holds_everything():
    done = past(work_set(60, 10), work_set(60, 2, by_pain=True))
    advice = next_prescription(member(done, target=Target(2, 6, 10), gates=(PASSED,)))
    assert (advice.load_kg, advice.lever, advice.reasons) == (60, None, (Reason.ENDED_BY_PAIN,))


def test_a_deload_week_holds_every_lever():
    advice = next_prescription(member(*history((60, True)), is_deload=True), LEVERS)
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (60, 10, None)
    assert advice.reasons == (Reason.DELOAD_WEEK,)


def test_a_deload_says_nothing_about_progress():
    light = past(work_set(40, 10), days_ago=1, is_deload=True)
    assert next_prescription(member(*history((60, True)), light)).load_kg == Decimal("62.5")


def test_after_nothing_but_deload_the_deload_counts():
    assert next_prescription(member(past(work_set(40, 8), is_deload=True))).load_kg == 40


@pytest.mark.parametrize(
    ("days", "load", "sets"), [(7, "62.5", 3), (8, "52.5", 3), (20, "47.5", 2), (40, 40, 1), (90, 30, 1)]
)
def test_a_lay_off_starts_lower(days: int, load: float | str, sets: int):
    done = past(*[work_set(60, 10)] * 3, days_ago=days)
    advice = next_prescription(member(done, target=Target(3, 6, 10)))
    assert (advice.load_kg, advice.sets) == (Decimal(load), sets)
    assert (Reason.LAY_OFF in advice.reasons) == (days > 7)


def test_a_lay_off_counts_from_the_newest_session_of_all():
    light = past(work_set(40, 8), days_ago=5, is_deload=True)
    assert next_prescription(member(past(work_set(60, 10), days_ago=20), light)).lever == "load"


def test_after_a_lay_off_with_pain_the_lighter_load_counts():
    done = past(work_set(60, 10), days_ago=10, had_passed_gate=False)
    assert next_prescription(member(done, gates=(FAILED,))).load_kg == Decimal("52.5")


def test_a_lay_off_never_goes_below_the_lowest_load():
    done = past(work_set(25, 10), days_ago=90)
    advice = next_prescription(member(done, equipment=Equipment(2500, lowest_thousandths=20_000)))
    assert advice.load_kg == 20 and Reason.AT_LOWEST_LOAD in advice.reasons


def test_after_a_lay_off_there_is_more_assistance():
    done = past(work_set(20, 10), days_ago=20)
    assert next_prescription(member(done, equipment=Equipment(5000, load_basis="assisted"))).load_kg == 25


def test_a_lay_off_without_a_load_takes_sets_off():
    done = past(work_set(0, 8), days_ago=20)
    bare = Equipment(2500, load_basis="none")
    advice = next_prescription(member(done, target=Target(3, 6, 10), equipment=bare))
    assert (advice.load_kg, advice.sets, advice.reasons[0]) == (None, 2, Reason.LAY_OFF)


def test_a_lay_off_lowers_a_fixed_load():
    done = past(work_set(80, 8), days_ago=20)
    assert next_prescription(member(done, target=FIXED)).load_kg == Decimal("62.5")


def test_the_cap_brings_a_load_down():
    advice = next_prescription(member(target=FIXED, max_load_kg=Decimal(51)))
    assert (advice.load_kg, advice.reasons) == (50, (Reason.CAPPED, Reason.FIXED_LOAD))


def test_the_cap_itself_may_be_reached():
    known = {"max_load_kg": Decimal("62.5")}
    assert next_prescription(member(*history((60, True)), **known)).load_kg == Decimal("62.5")


def test_at_the_cap_another_lever_moves():
    known = {"max_load_kg": Decimal(61)}
    held = next_prescription(member(*history((60, True)), **known), LEVERS)
    by_time = next_prescription(
        member(*history((60, True)), target=Target(1, 6, 10, rest_s=120), **known), LEVERS
    )
    assert (held.load_kg, held.lever, held.reasons) == (60, None, (Reason.AT_CAP,))
    assert (by_time.load_kg, by_time.lever) == (60, "time")


def test_a_cap_that_is_too_low_for_the_equipment_gives_no_number():
    bar = Equipment(2500, lowest_thousandths=20_000)
    advice = next_prescription(member(*history((60, True)), equipment=bar, max_load_kg=Decimal(15)))
    assert (advice.load_kg, advice.reasons[0]) == (None, Reason.CAP_BELOW_EQUIPMENT)


def test_history_below_the_equipment_gives_no_number_after_pain():
    bar = Equipment(2500, lowest_thousandths=20_000)
    advice = next_prescription(member(*history((10, False)), target=FIXED, equipment=bar, gates=(FAILED,)))
    assert advice.load_kg is None and Reason.BELOW_EQUIPMENT in advice.reasons


def test_a_gate_with_another_reason_is_not_swallowed():
    with pytest.raises(ValueError, match="hunger"):
        next_prescription(member(*history((60, True)), gates=(PainGate("failed", "hunger"),), equipment=KG))
