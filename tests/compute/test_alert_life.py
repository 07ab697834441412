import numpy as np
import pytest

from coaching.compute.alert_life import follow_alerts


def nights(text):
    return np.array([[mark == "x" for mark in text]])


def marks(values):
    return "".join("x" if value else "." for value in values[0])


@pytest.mark.parametrize(
    ("found", "opens", "stands"),
    [
        ("....", "....", "...."),
        (".x..", ".x..", ".xx."),
        (".x.x.", ".x...", ".xxxx"),
        ("x..x.", "x..x.", "xx.xx"),
        ("xxxx", "x...", "xxxx"),
    ],
)
def test_opens_on_evidence_and_ends_two_nights_after_the_last(found, opens, stands):
    lives = follow_alerts(nights(found), patience_nights=2)
    assert (marks(lives.opens), marks(lives.stands)) == (opens, stands)


def test_held_back_it_does_not_open_but_one_that_stands_goes_on():
    lives = follow_alerts(nights("x.x.x"), patience_nights=3, is_held_back=nights(".xx.."))
    assert marks(lives.opens) == "x...."
    lives = follow_alerts(nights("x.x.x"), patience_nights=3, is_held_back=nights("xxx.."))
    assert marks(lives.opens) == "....x"


def test_no_series_and_no_night_are_fine():
    assert follow_alerts(np.zeros((0, 3), bool)).opens.shape == (0, 3)
    assert follow_alerts(np.zeros((3, 0), bool)).opens.shape == (3, 0)


def test_says_which_argument_is_wrong():
    with pytest.raises(ValueError, match="is_held_back must have the shape"):
        follow_alerts(nights("x"), is_held_back=nights("xx"))
    with pytest.raises(ValueError, match="patience_nights must be 1 or more, got 0"):
        follow_alerts(nights("x"), patience_nights=0)
