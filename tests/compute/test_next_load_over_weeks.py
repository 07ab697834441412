"""Advice followed for months by lifters whose strength is known: it leads upwards, and it does not seesaw."""

import math
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

from coaching.compute.next_load import next_block, next_prescription
from coaching.compute.prescribing import LEVERS, Advice, Member, PastExposure, PerformedSet, Target
from coaching.compute.strength import reps_for_load
from tests.compute.prescribed import PASSED, member, past, work_set

SESSIONS = 40
TWICE_A_WEEK = (3, 4)


def trained(who: Member, advice: Advice, one_rm_kg: float) -> Member:
    """The member after a session in which every set went to failure, to the aim or beyond it."""
    assert advice.load_kg is not None and advice.sets is not None
    reps = math.floor(reps_for_load(one_rm_kg, float(advice.load_kg)) + 1e-9)
    sets = tuple(PerformedSet(advice.load_kg, reps=reps, rir=0) for _ in range(advice.sets))
    done = PastExposure(who.situation.day, sets, True, advice.tempo, advice.rest_s)
    day = who.situation.day + TWICE_A_WEEK[len(who.history) % 2]
    return replace(who, history=(*who.history, done), situation=replace(who.situation, day=day))


def follow(gain_per_session: float) -> list[float]:
    """Loads of a lifter who starts with 60 kg x 8 and follows each advice."""
    who = member(past(work_set(60, 8)), target=Target(1, 6, 10), gates=(PASSED,))
    one_rm_kg, loads = 76.0, []
    for _ in range(SESSIONS):
        advice = next_prescription(who, ("reps", "load"))
        loads.append(float(advice.load_kg or 0))
        who = trained(who, advice, one_rm_kg)
        one_rm_kg *= 1 + gain_per_session
    return loads


def test_a_lifter_who_gains_is_led_upwards_step_by_step():
    loads = follow(0.005)
    assert loads == sorted(loads)
    assert max(later - earlier for earlier, later in pairwise(loads)) == 2.5
    assert 6 <= reps_for_load(76.0 * 1.005 ** (SESSIONS - 1), loads[-1]) <= 10


def test_a_lifter_who_does_not_gain_keeps_the_load():
    assert set(follow(0.0)) == {60.0}


def test_a_lifter_who_loses_strength_is_brought_down_into_the_range():
    loads = follow(-0.005)
    one_rm_kg = 76.0 * 0.995 ** (SESSIONS - 1)
    assert loads == sorted(loads, reverse=True)
    assert reps_for_load(one_rm_kg, loads[-1]) >= 5


def test_both_halves_of_a_pair_go_up_and_never_together():
    halves = [
        member(past(work_set(30, 8)), target=Target(1, 6, 10)),
        member(past(work_set(50, 8)), target=Target(1, 6, 10), second=True),
    ]
    one_rms_kg = [38.0, 63.3]
    moved = []
    for _ in range(SESSIONS):
        advice = next_block(halves, LEVERS)
        moved.append([each.lever for each in advice if each.lever])
        halves = [trained(*each) for each in zip(halves, advice, one_rms_kg, strict=True)]
        one_rms_kg = [each * 1.005 for each in one_rms_kg]
    assert max(map(len, moved)) == 1
    assert {"reps", "load", "second_half_load"} <= {lever for each in moved for lever in each}
    assert [half.history[-1].sets[0].load_kg for half in halves] > [Decimal(32), Decimal(55)]
