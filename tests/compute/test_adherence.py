"""Adherence: what was done against what was prescribed, with bounds for what nobody logged."""

from dataclasses import replace

import numpy as np
import pytest

from coaching.compute.adherence import assess_adherence
from coaching.compute.scheduled_sessions import DONE, NOT_DONE, UNKNOWN, session_ratios
from tests.compute.scheduled import TODAY, Due, assess, sessions


def last_two_weeks(state: str) -> list[Due]:
    return [Due(day, state) for day in (87, 89, 92, 94, 96)]


def test_all_done_is_a_score_of_one_with_no_doubt():
    found = assess(*last_two_weeks(DONE))
    assert (found.score_low[0], found.score_high[0]) == (1, 1)


def test_unknown_sessions_open_the_bounds():
    found = assess(Due(80), Due(85), Due(90, UNKNOWN), Due(95, NOT_DONE))
    assert (found.score_low[0], found.score_high[0]) == (0.5, 0.75)


def test_doing_more_is_capped_in_the_score_and_shown_apart():
    found = assess(Due(80, share=1.5), Due(85, share=0.5))
    assert (found.score_low[0], found.dose_ratio[0]) == (0.75, 1.0)


def test_excused_sessions_leave_the_denominator():
    found = assess(Due(80), Due(85, NOT_DONE, is_excused=True), Due(90, UNKNOWN, is_excused=True))
    assert (found.score_low[0], found.n_counted[0], found.n_excused[0]) == (1, 1, 2)


def test_a_session_two_days_late_counts_as_attended():
    assert assess(Due(90, days_late=2)).attendance_low == [1]


def test_a_session_three_days_late_does_not_and_is_counted_as_late():
    found = assess(Due(90, days_late=3))
    assert (found.attendance_high[0], found.n_late[0]) == (0, 1)


@pytest.mark.parametrize(("days_ago", "n_pending"), [(0, 1), (1, 1), (2, 0)])
def test_an_unlogged_session_counts_once_its_grace_days_are_over(days_ago: int, n_pending: int):
    found = assess(Due(TODAY - days_ago, UNKNOWN))
    assert (found.n_pending[0], found.n_unknown[0]) == (n_pending, 1 - n_pending)


def test_sessions_not_yet_due_are_not_seen():
    assert assess(Due(TODAY + 1, NOT_DONE)).n_counted == [0]


def test_sessions_older_than_28_days_are_not_scored():
    assert assess(Due(TODAY - 28, NOT_DONE), Due(TODAY - 27)).n_counted == [1]


def test_skipped_sessions_are_off_plan():
    found = assess(*last_two_weeks(NOT_DONE))
    assert (found.is_off_plan[0], found.is_unlogged[0]) == (True, False)


def test_sessions_without_a_log_are_unlogged_not_off_plan():
    found = assess(*last_two_weeks(UNKNOWN))
    assert (found.is_off_plan[0], found.is_unlogged[0]) == (False, True)


def test_one_missing_log_is_not_asked_after_while_another_session_was_kept():
    rest = (Due(94, share=0.5), Due(96, UNKNOWN))
    for share, is_unlogged in ((0.7, False), (0.6, True)):
        found = assess(Due(92, share=share), *rest)
        assert (found.off_plan_score_low[0] <= 0.6, found.is_unlogged[0]) == (True, is_unlogged)


def test_a_session_older_than_ten_days_is_not_in_the_off_plan_window():
    found = assess(Due(90), Due(91, share=0.5), Due(94, share=0.5), Due(97, share=0.5))
    assert (found.off_plan_sessions[0], found.is_off_plan[0]) == (3, True)


def test_a_client_one_day_late_is_not_flagged():
    found = assess(*(Due(day, days_late=1) for day in (90, 92, 95, 97)), Due(TODAY, UNKNOWN))
    assert (found.is_off_plan[0], found.is_unlogged[0]) == (False, False)


def test_half_sessions_are_off_plan():
    assert assess(*(Due(day, share=0.5) for day in (90, 92, 95, 97))).is_off_plan == [True]


def test_exactly_sixty_per_cent_is_off_plan():
    assert assess(*(Due(day, share=0.6) for day in (90, 92, 95, 97))).is_off_plan == [True]


def test_two_sessions_say_too_little():
    assert assess(Due(90, NOT_DONE), Due(95, NOT_DONE)).is_off_plan == [False]


def test_two_sessions_a_week_are_read_over_a_longer_window():
    found = assess(Due(86, NOT_DONE), Due(90, NOT_DONE), Due(94, NOT_DONE))
    assert (found.is_off_plan[0], found.off_plan_days[0], found.off_plan_sessions[0]) == (True, 21, 3)


def test_unknown_sessions_of_the_off_plan_window_are_counted():
    assert assess(Due(75, UNKNOWN), *last_two_weeks(UNKNOWN)).off_plan_unknown == [3]


def test_spells_do_not_run_from_one_client_into_the_next():
    due = [Due(90, NOT_DONE), Due(95, NOT_DONE), Due(80, NOT_DONE, client=1), Due(85, NOT_DONE, client=1)]
    found = assess(*due, n_clients=2)
    assert (found.n_missed_spells.tolist(), found.n_interrupted_spells.tolist()) == ([1, 1], [0, 0])


def test_a_week_without_a_post_is_silent_when_sessions_were_due():
    assert assess(Due(96, UNKNOWN), days_since_post=7).is_silent == [True]


def test_six_days_are_not_silent():
    assert assess(Due(96, UNKNOWN), days_since_post=6).is_silent == [False]


def test_who_never_posted_is_silent():
    assert assess(Due(96, UNKNOWN), days_since_post=np.nan).is_silent == [True]


def test_no_sessions_due_is_no_silence():
    assert assess(Due(80, UNKNOWN), days_since_post=30).is_silent == [False]


def test_sessions_stopped_by_a_clinician_are_no_silence():
    assert assess(Due(96, UNKNOWN, is_excused=True), days_since_post=30).is_silent == [False]


def test_over_dose_is_a_mean_of_ratios_whatever_they_are_counted_in():
    mixed = replace(sessions(Due(80, share=1.5), Due(85)), prescribed_volume_kg=np.array([np.nan, 3000.0]))
    found = assess_adherence(mixed, n_clients=1, as_of_day=TODAY, days_since_post=np.zeros(1))
    assert found.dose_ratio == [1.25]


def test_a_volume_of_which_only_one_side_is_known_is_not_compared():
    unknown_load = replace(sessions(Due(90, share=0.75)), completed_volume_kg=np.array([np.nan]))
    found = assess_adherence(unknown_load, n_clients=1, as_of_day=TODAY, days_since_post=np.zeros(1))
    assert found.score_low == [0.75]


def test_reps_stand_in_where_there_is_no_load():
    bodyweight = replace(
        sessions(Due(90)), prescribed_volume_kg=np.array([np.nan]), completed_reps=np.array([45.0])
    )
    found = assess_adherence(bodyweight, n_clients=1, as_of_day=TODAY, days_since_post=np.zeros(1))
    assert found.score_low == [0.75]


def test_an_attended_session_with_nothing_prescribed_counts_in_full():
    empty = np.zeros(1)
    free = replace(
        sessions(Due(90)), prescribed_volume_kg=empty, prescribed_reps=empty, prescribed_sets=empty
    )
    found = assess_adherence(free, n_clients=1, as_of_day=TODAY, days_since_post=np.zeros(1))
    assert found.score_low == [1]


def test_a_client_without_sessions_has_no_score():
    found = assess(Due(90), n_clients=2)
    assert (np.isnan(found.score_low[1]), found.is_off_plan[1]) == (True, False)


def test_no_sessions_at_all_give_no_scores():
    assert np.isnan(assess().score_low).all()


def test_the_order_of_sessions_does_not_matter():
    due = [Due(75 + 3 * i, [NOT_DONE, NOT_DONE, NOT_DONE, DONE][i % 4]) for i in range(8)]
    assert assess(*due[::-1]).n_interrupted_spells == assess(*due).n_interrupted_spells


def test_unknown_states_are_refused():
    with pytest.raises(ValueError, match="state must be one of done, not_done, unknown, got skipped"):
        assess(Due(90, "skipped"))


def test_clients_out_of_range_are_refused():
    with pytest.raises(ValueError, match="client must lie in 0 to 0, got 3"):
        assess(Due(90, client=3))


def test_arrays_of_different_length_are_refused():
    wrong = replace(sessions(Due(90)), due_day=np.array([1, 2]))
    with pytest.raises(ValueError, match="due_day must have 1 entries like client, got 2"):
        assess_adherence(wrong, n_clients=1, as_of_day=TODAY, days_since_post=np.zeros(1))


def test_days_since_post_must_cover_every_client():
    with pytest.raises(ValueError, match="days_since_post must have 2 entries"):
        assess_adherence(sessions(Due(90)), n_clients=2, as_of_day=TODAY, days_since_post=np.zeros(1))


def test_negative_amounts_are_refused():
    wrong = replace(sessions(Due(90)), completed_reps=np.array([-1.0]))
    with pytest.raises(ValueError, match=r"completed_reps must be 0 or more, or nan, got -1\.0"):
        assess_adherence(wrong, n_clients=1, as_of_day=TODAY, days_since_post=np.zeros(1))


def test_ratios_of_different_shapes_are_refused():
    with pytest.raises(ValueError, match=r"completed must have the shape of prescribed \(2,\), got \(1,\)"):
        session_ratios(np.ones(1), np.ones(2))
