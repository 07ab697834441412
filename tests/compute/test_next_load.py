"""What to do next where nothing holds it back: double progression and the levers."""

from dataclasses import replace
from decimal import Decimal

import pytest

from coaching.compute.advice_reasons import REASON_TEXTS, Reason
from coaching.compute.equipment import Equipment
from coaching.compute.held_values import hold
from coaching.compute.lever_moves import move_lever
from coaching.compute.next_load import next_block, next_prescription
from coaching.compute.prescribing import LEVERS, Advice, Member, PerformedSet, Target
from tests.compute.prescribed import TWO_IN_RESERVE, member, past, work_set

HIGH_REPS = Target(1, 15, 20)


def after(*sets: PerformedSet, levers: tuple[str, ...] = LEVERS, **known: object) -> Advice:
    return next_prescription(member(past(*sets), **known), levers)


def test_below_the_top_it_is_one_more_repetition_with_the_same_load():
    advice = after(work_set(60, 8))
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (60, 9, "reps")
    assert advice.reasons == (Reason.ONE_MORE_REP,)


def test_the_weakest_set_gets_the_repetition():
    assert after(work_set(60, 9), work_set(60, 7), target=Target(2, 6, 10)).reps_aim == 8


def test_at_the_top_the_load_goes_up_and_repetitions_fall_to_what_epley_predicts():
    advice = after(work_set(60, 10))
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (Decimal("62.5"), 8, "load")


def test_the_reserve_asked_for_is_kept_when_the_load_goes_up():
    advice = after(work_set(60, 8, rir=2), target=Target(1, 5, 8, **TWO_IN_RESERVE))
    assert (advice.load_kg, advice.reps_aim, advice.rir_target) == (Decimal("62.5"), 6, 2)


def test_above_ten_repetitions_the_load_goes_up_by_a_step_and_repetitions_to_the_low_end():
    advice = after(work_set(30, 20), target=HIGH_REPS)
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (Decimal("32.5"), 15, "load")


def test_above_ten_repetitions_the_lever_below_the_top_is_repetitions():
    assert after(work_set(30, 17), target=HIGH_REPS).reps_aim == 18


def test_a_step_too_big_asks_for_repetitions_above_the_range_first():
    advice = after(work_set(20, 10))
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (20, 11, "reps")
    assert advice.reasons == (Reason.STEP_TOO_BIG, Reason.ONE_MORE_REP)


def test_two_repetitions_above_the_range_another_lever_moves():
    target = Target(1, 6, 10, rest_s=120)
    advice = after(work_set(20, 12), target=target)
    assert (advice.lever, advice.reasons) == ("time", (Reason.LESS_REST, Reason.STEP_TOO_BIG))
    assert after(work_set(20, 12)).reasons == (Reason.STEP_TOO_BIG,)


def test_a_step_that_would_cost_the_low_end_is_too_big_until_the_margin_is_used():
    target = Target(1, 8, 10)
    assert after(work_set(30, 10), target=target).reps_aim == 11
    assert after(work_set(30, 11), target=target).reps_aim == 12
    assert after(work_set(30, 12), target=target).load_kg == Decimal("32.5")


def test_without_the_lever_of_repetitions_below_the_top_nothing_moves():
    advice = after(work_set(60, 8), levers=("load",))
    assert advice.lever is None and advice.reasons == (Reason.TOP_NOT_REACHED,)


def test_without_any_lever_at_the_top_it_says_that_none_is_left():
    assert after(work_set(60, 10), levers=("reps",)).reasons == (Reason.NO_LEVER_LEFT,)


def test_the_coach_orders_the_levers():
    target = Target(1, 6, 10, rest_s=120, tempo="3-1-1-0")
    by_time = after(work_set(60, 8), target=target, levers=("time", "reps"))
    by_tempo = after(work_set(60, 8), target=target, levers=("tempo", "time", "reps"))
    assert (by_time.rest_s, by_time.reps_aim, by_time.lever) == (110, 8, "time")
    assert (by_tempo.tempo, by_tempo.rest_s, by_tempo.lever) == ("4-1-1-0", 120, "tempo")


def test_rest_and_tempo_stay_where_they_have_come_to():
    target = Target(1, 6, 10, rest_s=120, tempo="3-1-1-0")
    done = past(work_set(60, 8), rest_s=110, tempo="4-1-1-0")
    advice = next_prescription(member(done, target=target))
    assert (advice.rest_s, advice.tempo, advice.lever) == (110, "4-1-1-0", "reps")


def test_sets_left_out_do_not_raise_the_load():
    advice = after(work_set(60, 10), target=Target(2, 6, 10))
    assert (advice.load_kg, advice.lever, advice.reasons) == (60, None, (Reason.SETS_MISSING,))


def test_an_unknown_reserve_moves_nothing_and_asks():
    advice = after(work_set(60, 10, rir=None), target=Target(1, 6, 10, **TWO_IN_RESERVE))
    assert (advice.load_kg, advice.lever, advice.reasons) == (60, None, (Reason.EFFORT_UNKNOWN,))


def test_a_range_reached_only_with_too_much_effort_moves_nothing():
    advice = after(work_set(60, 7, rir=0), target=Target(1, 6, 10, **TWO_IN_RESERVE))
    assert advice.reasons == (Reason.TOO_HARD,)


def test_stopped_early_holds_the_load():
    advice = after(work_set(60, 4, rir=4))
    assert (advice.load_kg, advice.reps_aim, advice.reasons) == (60, 6, (Reason.STOPPED_EARLY,))


def test_a_range_that_was_missed_brings_the_load_down():
    advice = after(work_set(60, 4))
    assert (advice.load_kg, advice.reps_aim, advice.lever) == (Decimal("52.5"), 8, None)
    assert advice.reasons == (Reason.SHORT_LAST_TIME,)


def test_a_range_missed_with_the_lowest_load_holds_it():
    advice = after(work_set(20, 4), equipment=Equipment(2500, lowest_thousandths=20_000))
    assert (advice.load_kg, advice.reasons) == (20, (Reason.AT_LOWEST_LOAD,))


def test_a_load_that_the_equipment_cannot_make_is_rounded_down():
    assert after(work_set(61, 8)).load_kg == 60


def test_history_below_the_equipment_gives_no_number():
    advice = after(work_set(10, 8), equipment=Equipment(2500, lowest_thousandths=20_000))
    assert (advice.load_kg, advice.reasons) == (None, (Reason.BELOW_EQUIPMENT,))


def test_less_assistance_is_more_load():
    machine = Equipment(5000, load_basis="assisted")
    advice = after(work_set(20, 10), equipment=machine)
    assert (advice.load_kg, advice.lever) == (15, "load")
    assert after(work_set(20, 4), equipment=machine).load_kg == 25


def test_an_exercise_without_load_moves_by_repetitions():
    advice = after(work_set(0, 8), equipment=Equipment(2500, load_basis="none"))
    assert (advice.load_kg, advice.reps_aim, advice.reasons[0]) == (None, 9, Reason.ONE_MORE_REP)
    at_top = after(work_set(0, 10), equipment=Equipment(2500, load_basis="none"))
    assert at_top.reasons == (Reason.NO_LEVER_LEFT, Reason.NO_LOAD)


def test_a_hold_goes_up_when_every_second_was_held():
    target = Target(1, duration_s=40)
    held, short = (PerformedSet(Decimal(30), duration_s=seconds) for seconds in (40, 35))
    assert after(held, target=target).load_kg == Decimal("32.5")
    assert after(short, target=target).load_kg == 30
    assert after(held, target=target).reps_aim is None


def test_the_first_time_gives_no_load_but_says_how_to_find_one():
    advice = next_prescription(member())
    assert (advice.load_kg, advice.reps_aim, advice.reasons) == (None, 6, (Reason.NO_HISTORY,))
    assert "start light" in advice.sentence


def test_the_first_load_of_a_known_lift_allows_the_whole_range_and_the_reserve():
    target = Target(1, 5, 8, **TWO_IN_RESERVE)
    advice = next_prescription(member(target=target, one_rm_kg=100.0))
    assert (advice.load_kg, advice.reasons) == (75, (Reason.FROM_ONE_RM,))


def test_the_maximum_says_nothing_about_ranges_above_ten():
    assert next_prescription(member(target=HIGH_REPS, one_rm_kg=100.0)).load_kg is None


def test_a_fresh_maximum_says_nothing_about_the_second_half_of_a_pair():
    assert next_prescription(member(second=True, one_rm_kg=100.0)).load_kg is None
    own = next_prescription(member(second=True, one_rm_kg=100.0, is_one_rm_fresh=False))
    assert own.load_kg == 75


def test_a_fixed_load_is_the_number_and_other_levers_move():
    target = Target(1, 6, 10, load_rule="fixed", load_kg=Decimal(50))
    assert next_prescription(member(target=target)).load_kg == 50
    below, at_top = after(work_set(50, 8), target=target), after(work_set(50, 10), target=target)
    assert (below.load_kg, below.reps_aim) == (50, 9)
    assert (at_top.load_kg, at_top.lever) == (50, None)


def test_a_share_of_the_maximum_is_rounded_down():
    target = Target(1, 6, 10, load_rule="share_of_1rm", share_of_1rm=0.7)
    assert next_prescription(member(target=target, one_rm_kg=91.0)).load_kg == Decimal("62.5")


def test_without_an_exposure_no_lever_moves():
    draft = hold(member())
    assert move_lever(draft, LEVERS) == draft


def test_a_share_of_an_unknown_maximum_gives_no_number():
    target = Target(1, 6, 10, load_rule="share_of_1rm", share_of_1rm=0.7)
    advice = next_prescription(member(target=target))
    assert (advice.load_kg, advice.reasons) == (None, (Reason.NO_ONE_RM,))


def cautious(*last_sets: int, days: tuple[int, ...] = (6, 3)) -> Advice:
    done = [past(work_set(60, reps), days_ago=ago) for reps, ago in zip(last_sets, days, strict=False)]
    return next_prescription(member(*done, target=Target(1, 8, 10), is_cautious=True), LEVERS)


def test_a_cautious_client_goes_up_after_two_sessions_two_above_the_goal():
    assert cautious(12, 12).lever == "load"
    assert cautious(12, 11).lever == "reps"


def test_a_cautious_client_waits_for_the_second_session():
    advice = cautious(12)
    assert (advice.lever, advice.reasons) == (None, (Reason.TWO_FOR_TWO_WAITS,))


def test_a_cautious_client_works_up_to_two_above_the_range():
    assert cautious(10).reps_aim == 11
    assert cautious(11).reps_aim == 12


def test_a_session_missed_between_does_not_break_two_for_two():
    assert cautious(13, 12, days=(7, 1)).lever == "load"


def test_two_for_two_wants_the_same_load_twice():
    done = past(work_set(57.5, 12), days_ago=6), past(work_set(60, 12))
    assert next_prescription(member(*done, target=Target(1, 8, 10), is_cautious=True)).load_kg == 60


def test_a_cautious_hold_goes_up_after_two_sessions():
    done = PerformedSet(Decimal(30), duration_s=40)
    target = Target(1, duration_s=40)
    once = member(past(done), target=target, is_cautious=True)
    twice = member(past(done, days_ago=6), past(done), target=target, is_cautious=True)
    assert next_prescription(once).load_kg == 30
    assert next_prescription(twice).load_kg == Decimal("32.5")


def pair(first: int, second: int, **known: object) -> list[Advice]:
    """Reps of the last time of the two halves, 30 and 60 kg, range 6 to 10."""
    halves: list[Member] = [
        member(past(work_set(30, first)), **known),
        member(past(work_set(60, second)), second=True, **known),
    ]
    return list(next_block(halves, LEVERS))


def test_of_a_pair_the_half_that_reached_its_top_moves():
    first, second = pair(7, 10)
    assert (first.lever, second.lever) == (None, "second_half_load")
    assert first.reasons == (Reason.OTHER_HALF_MOVES,)
    assert (first.load_kg, first.reps_aim) == (30, 7)


def test_of_two_at_the_top_the_coachs_order_decides():
    assert [each.lever for each in pair(10, 10)] == ["load", None]


def test_of_two_below_the_top_the_one_lower_in_its_range_moves():
    assert [each.lever for each in pair(9, 7)] == [None, "reps"]
    assert [each.lever for each in pair(8, 8)] == ["reps", None]


def test_a_half_that_fell_short_comes_down_and_the_other_stays():
    first, second = pair(8, 3)
    assert (first.load_kg, first.reps_aim, first.lever) == (30, 8, None)
    assert first.reasons == (Reason.OTHER_HALF_HELD,)
    assert second.load_kg < 60 and second.reasons == (Reason.SHORT_LAST_TIME,)


def test_the_load_of_a_second_half_never_moves_by_the_lever_of_the_first():
    assert next_prescription(member(past(work_set(60, 10)), second=True), ("load",)).lever is None
    assert next_prescription(member(past(work_set(60, 10))), ("second_half_load",)).lever is None


@pytest.mark.parametrize("levers", [("reps", "speed"), ("reps", "reps")])
def test_levers_that_cannot_be_are_refused(levers: tuple[str, ...]):
    with pytest.raises(ValueError, match=r"levers must be some of reps, .*, each once, got reps"):
        next_prescription(member(), levers)


def test_history_out_of_order_or_in_the_future_is_refused():
    early, late = past(work_set(60, 8), days_ago=5), past(work_set(60, 8), days_ago=2)
    with pytest.raises(ValueError, match="history must be in order and not after the day of the advice"):
        next_prescription(member(late, early))
    with pytest.raises(ValueError, match="history must be in order"):
        next_prescription(member(past(work_set(60, 8), days_ago=-1)))


def test_the_sentence_has_the_numbers_and_the_reason():
    assert after(work_set(60, 8), target=Target(1, 6, 10, rest_s=120, tempo="3-1-1-0")).sentence == (
        "1 set of 6-10 repetitions with 60 kg, aiming at 9, to failure, tempo 3-1-1-0, 120 s of rest: "
        "one more repetition with the same load."
    )


def test_the_load_is_told_as_it_is_entered():
    pounds = Equipment(5000, "lb", load_basis="per_hand")
    advice = after(work_set("22.6796185", 8), equipment=pounds)
    assert (advice.load_thousandths, advice.load_unit, advice.load_kg) == (
        50_000,
        "lb",
        Decimal("22.6796185"),
    )
    assert "with 50 lb in each hand" in advice.sentence


def test_every_reason_has_its_words():
    assert set(REASON_TEXTS) == set(Reason)
    assert all(text and not text.endswith(".") for text in REASON_TEXTS.values())


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"sets": 0}, "sets must be 1 or more, got 0"),
        ({"effort": "hard"}, "effort must be failure or reps_in_reserve, got hard"),
        ({"load_rule": "guess"}, "load_rule must be fixed, share_of_1rm or from_history, got guess"),
        ({"rir_target": -1}, "rir_target must be 0 or more, got -1"),
        ({"reps_low": None}, "reps_low and reps_high must be given without a duration, got None"),
        ({"reps_low": 11}, "reps_low must lie in 1 to reps_high, got 11 to 10"),
        ({"load_rule": "fixed"}, "load_kg must be given with a fixed load, got None"),
        ({"load_rule": "share_of_1rm"}, "share_of_1rm must be above 0 with a share, got None"),
    ],
)
def test_a_target_that_cannot_be_is_refused(wrong: dict, message: str):
    with pytest.raises(ValueError, match=message):
        replace(Target(1, 6, 10), **wrong)


def test_today_is_not_a_lay_off():
    assert next_prescription(member(past(work_set(60, 8), days_ago=0))).lever == "reps"
