"""Less rest and slower lowering."""

import pytest

from coaching.compute.levers import held_rest_s, held_tempo, shorten_rest, slow_tempo, with_lowering


@pytest.mark.parametrize(("rest_s", "shorter"), [(180, 165), (120, 110), (90, 85), (65, 60), (61, 60)])
def test_rest_gets_shorter_by_a_tenth_at_most(rest_s: int, shorter: int):
    assert shorten_rest(rest_s) == shorter


@pytest.mark.parametrize("rest_s", [60, 30, 0])
def test_rest_never_falls_below_a_minute(rest_s: int):
    assert shorten_rest(rest_s) is None


def test_negative_rest_is_refused():
    with pytest.raises(ValueError, match="rest_s must be 0 or more, got -1"):
        shorten_rest(-1)


def test_an_explosive_lowering_slows_to_two_seconds():
    assert slow_tempo("X010") == "2-0-1-0"


def test_a_lowering_of_five_seconds_or_a_free_tempo_slows_no_more():
    assert slow_tempo("5-0-1-0") is None
    assert slow_tempo("8-0-1-0") is None
    assert slow_tempo("") is None


def test_an_unreadable_tempo_is_refused():
    with pytest.raises(ValueError, match="tempo must have four parts"):
        slow_tempo("3-1-0")


def test_the_other_parts_of_a_tempo_stay():
    assert with_lowering("3-1-X-2", 4) == "4-1-X-2"


def test_the_tempo_done_counts_where_it_is_slower():
    assert held_tempo("3-1-1-0", "9-1-1-0") == "5-1-1-0"
    assert held_tempo("6-1-1-0", "9-1-1-0") == "6-1-1-0"


def test_an_unknown_tempo_leaves_the_prescribed_one():
    assert held_tempo("3-1-1-0", "") == "3-1-1-0"
    assert held_tempo("", "4-1-1-0") == ""


def test_an_unknown_rest_leaves_the_prescribed_one():
    assert held_rest_s(120, None) == 120
    assert held_rest_s(None, 90) is None
