"""The next set of a session under way."""

from dataclasses import replace
from decimal import Decimal

import pytest

from coaching.compute.advice_reasons import Reason
from coaching.compute.equipment import Equipment
from coaching.compute.next_load import next_prescription
from coaching.compute.next_set import next_set
from coaching.compute.prescribing import Advice, PerformedSet, Target
from tests.compute.prescribed import member, past, work_set

THREE_SETS = Target(3, 6, 10)


def then(*done: PerformedSet, target: Target = THREE_SETS, **known: object) -> Advice:
    return next_set(member(target=target, **known), done)


def test_a_set_in_the_range_is_followed_by_the_same_load():
    advice = then(work_set(60, 8))
    assert (advice.load_kg, advice.reps_aim, advice.sets) == (60, 8, 2)
    assert advice.reasons == (Reason.SAME_LOAD_TODAY,)


def test_a_set_at_the_top_does_not_raise_the_load_today():
    assert then(work_set(60, 12)).load_kg == 60


def test_a_set_that_fell_short_brings_the_load_down_into_the_range():
    advice = then(work_set(60, 4))
    assert (advice.load_kg, advice.reps_aim, advice.reasons) == (Decimal("52.5"), 8, (Reason.SHORT_SET,))


def test_only_the_last_set_counts():
    assert then(work_set(60, 4), work_set(52.5, 7)).load_kg == Decimal("52.5")


def test_after_a_set_that_pain_ended_there_is_no_number():
    advice = then(work_set(60, 4, by_pain=True))
    assert (advice.load_kg, advice.sets, advice.reasons) == (None, None, (Reason.ENDED_BY_PAIN,))


def test_after_pain_in_an_earlier_set_there_is_no_number_either():
    assert then(work_set(60, 4, by_pain=True), work_set(50, 8)).load_kg is None


def test_an_open_flag_comes_before_everything():
    assert then(work_set(60, 4, by_pain=True), is_blocked=True).reasons == (Reason.REFER_OUT,)


def test_after_the_last_set_nothing_is_to_do():
    assert then(*[work_set(60, 8)] * 3).reasons == (Reason.SETS_DONE,)


def test_short_with_the_lowest_load_holds_it():
    advice = then(work_set(20, 4), equipment=Equipment(2500, lowest_thousandths=20_000))
    assert (advice.load_kg, advice.reasons) == (20, (Reason.AT_LOWEST_LOAD,))


def test_a_load_below_the_equipment_gives_no_number():
    advice = then(work_set(10, 8), equipment=Equipment(2500, lowest_thousandths=20_000))
    assert (advice.load_kg, advice.reasons) == (None, (Reason.SAME_LOAD_TODAY, Reason.BELOW_EQUIPMENT))


def test_an_exercise_without_load_stays_so():
    assert then(work_set(0, 4), equipment=Equipment(2500, load_basis="none")).reasons == (Reason.NO_LOAD,)


def test_the_cap_holds_today_as_well():
    advice = then(work_set(60, 8), max_load_kg=Decimal(50))
    assert (advice.load_kg, advice.reasons[0]) == (50, Reason.CAPPED)


def test_a_first_set_heavier_than_planned_does_not_stay_so():
    who = member(past(work_set(60, 8)), target=THREE_SETS)
    planned = next_prescription(who)
    assert next_set(who, [work_set(70, 8)], planned=planned).load_kg == planned.load_kg == 60


def test_rest_and_tempo_stay_as_planned():
    target = replace(THREE_SETS, rest_s=120, tempo="3-1-1-0")
    who = member(past(*[work_set(60, 8)] * 3), target=target)
    planned = next_prescription(who, ["time"])
    advice = next_set(who, [work_set(60, 8)], planned=planned)
    assert (advice.rest_s, advice.tempo) == (110, "3-1-1-0")
    assert next_set(who, [work_set(60, 8)]).rest_s == 120


def test_no_set_is_refused():
    with pytest.raises(ValueError, match="done must hold one set or more, got 0"):
        then()
