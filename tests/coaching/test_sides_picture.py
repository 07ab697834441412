"""Both sides of a lift: read from its days, drawn, and told in words."""

from dataclasses import replace
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.charts import describe_sides, draw_sides
from coaching.models import LiftDay
from coaching.reads.lift_sides import LiftSidesHistory, lift_sides_history
from coaching.reads.side_differences import SideDifference, client_sides
from tests.coaching.test_charts import SUNDAY, SVG, exposure, png_size, words_of
from tests.factories import AlertFactory, ExerciseFactory

FIRST_ON = date(2025, 11, 10)


@pytest.fixture
def leg_press(db):
    return ExerciseFactory(code="invented_press", name="Invented press")


def trained(cast, lift, side, *e1rms, **changes):
    """One exposure a week, the newest on the last Sunday."""
    for back, e1rm_kg in enumerate(reversed(e1rms)):
        LiftDay.objects.create(
            practice=cast.practice,
            client=cast.client,
            exercise=lift,
            day_on=SUNDAY - timedelta(days=7 * back),
            side=side,
            e1rm_kg=e1rm_kg,
            **changes,
        )


def sides_of(cast, lift, track="fresh", weeks=16):
    return lift_sides_history(cast.client.id, lift.id, track, SUNDAY, weeks)


def test_each_side_has_its_own_exposures_and_their_difference(cast, leg_press):
    trained(cast, leg_press, "left", 80, 80, 80)
    trained(cast, leg_press, "right", 100, 100, 100)
    found = sides_of(cast, leg_press)
    assert [point.e1rm_kg for point in found.left] == [80, 80, 80]
    assert [point.e1rm_kg for point in found.right] == [100, 100, 100]
    assert found.difference.difference == pytest.approx(20)
    assert not found.difference.is_within_noise


def test_alerts_of_either_side_are_marked_and_told_with_their_side(cast, leg_press):
    trained(cast, leg_press, "left", 80, 82)
    AlertFactory(client=cast.client, kind="stalled_lift", target="invented_press:left:fresh",
                 opened_on=date(2026, 2, 10))  # fmt: skip
    AlertFactory(client=cast.client, kind="regressing_lift", target="invented_press:right:fresh",
                 opened_on=date(2026, 1, 12))  # fmt: skip
    found = sides_of(cast, leg_press)
    told = "Alert on 12 January: right: regressing lift. Alert on 10 February: left: stalled lift."
    assert describe_sides(found).endswith(told)
    assert "left: stalled lift" in words_of(draw_sides(found, format="svg"))


def test_the_picture_tells_the_same_difference_as_the_clients_list(cast, leg_press):
    trained(cast, leg_press, "left", 80, 82)
    trained(cast, leg_press, "right", 85)
    (listed,) = client_sides(client_id=cast.client.id, until_on=SUNDAY).lifts
    assert sides_of(cast, leg_press).difference == listed.e1rm


def test_deloads_pain_and_days_without_an_estimate_are_left_out(cast, leg_press):
    trained(cast, leg_press, "left", 60, is_deload=True)
    trained(cast, leg_press, "right", 60, is_pain_limited=True)
    LiftDay.objects.create(
        practice=cast.practice, client=cast.client, exercise=leg_press, day_on=FIRST_ON, side="left"
    )
    found = sides_of(cast, leg_press)
    assert (found.left, found.right, found.difference) == ((), (), None)


def test_the_second_half_of_a_pair_is_another_lift(cast, leg_press):
    trained(cast, leg_press, "left", 80, track="after:leg_extension")
    assert sides_of(cast, leg_press).left == ()
    assert len(sides_of(cast, leg_press, track="after:leg_extension").left) == 1


def test_a_lift_done_with_both_sides_at_once_has_none(cast, leg_press):
    trained(cast, leg_press, "both", 160, 160)
    assert sides_of(cast, leg_press).difference is None


def test_the_difference_does_not_depend_on_the_weeks_shown(cast, leg_press):
    for side in ("left", "right"):
        trained(cast, leg_press, side, *[80] * 8)
    assert sides_of(cast, leg_press, weeks=2).difference.n_left == 8
    assert len(sides_of(cast, leg_press, weeks=2).left) == 2


def test_queries_do_not_grow_with_exposures(cast, leg_press):
    def queries():
        with CaptureQueriesContext(connection) as captured:
            sides_of(cast, leg_press)
        return len(captured)

    before = queries()
    trained(cast, leg_press, "left", *[80] * 10)
    assert queries() == before


APART = SideDifference(14.2, 9.1, 18.9, 5.1, False, 80.0, 93.0, 8, 8, "Leg press: told.")
ALIKE = replace(APART, difference=0.04, low=-5.0, high=5.1, is_within_noise=True)
UNKNOWN = SideDifference(None, None, None, None, None, 80.0, None, 8, 0, "Leg press: not known.")


def sides(left=16, right=16, difference=APART, **changes):
    parts = {
        "exercise_code": "leg_press",
        "exercise_name": "Leg press",
        "track": "fresh",
        "first_on": FIRST_ON,
        "until_on": SUNDAY,
        "left": tuple(exposure(number) for number in range(left)),
        "right": tuple(exposure(number, e1rm_kg=115.0) for number in range(right)),
        "difference": difference,
    }
    return LiftSidesHistory(**parts | changes)


PICTURES = {
    "usual": sides(),
    "empty": sides(0, 0, None),
    "one exposure": sides(1, 0, UNKNOWN),
    "alike": sides(difference=ALIKE),
    "two years": sides(104, 104, first_on=date(2024, 3, 4)),
    "long name": sides(exercise_name="L" * 120, track="after:" + "x" * 60),
    "markup in the name": sides(exercise_name='<b>&"$x^2$'),
    "letters no file may hold": sides(
        exercise_name="Leg\uffff\x0b press", difference=replace(APART, sentence="Leg\uffff\x0b press: told.")
    ),
}


@pytest.mark.parametrize("history", PICTURES.values(), ids=PICTURES.keys())
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_both_sides_give_a_picture_of_the_same_size(history, is_dark):
    assert png_size(draw_sides(history, format="png", is_dark=is_dark)) == (720, 520)


@pytest.mark.parametrize("history", PICTURES.values(), ids=PICTURES.keys())
def test_the_svg_carries_its_description(history):
    root = ElementTree.fromstring(draw_sides(history, format="svg"))
    assert root.findtext(f"{SVG}desc") == describe_sides(history)


@pytest.mark.parametrize(
    ("difference", "said"),
    [
        (APART, "Right 14.2 % above left (95 % interval +9.1 to +18.9)"),
        (APART, "More than noise alone (84 days)."),
        (replace(APART, difference=-14.2), "Right 14.2 % below left"),
        (ALIKE, "Right and left alike (95 % interval -5.0 to +5.1)"),
        (ALIKE, "Noise alone can explain it (84 days)."),
        (UNKNOWN, "A side has no exposure in 84 days: nothing to compare"),
        (None, "A side has no exposure in 84 days: nothing to compare"),
    ],
)
def test_the_difference_stands_in_the_picture_in_words(difference, said):
    words = words_of(draw_sides(sides(difference=difference), format="svg"))
    assert said in words and "Sides are not evened out." in words


def test_the_sides_differ_in_line_as_well_as_in_mark():
    svg = draw_sides(sides(), format="svg").decode()
    assert svg.count("stroke-dasharray: 3.6,1.8") == 2  # the line of the right side, and in the key


def test_no_exposure_of_one_side_says_so():
    assert "No comparable exposure of one side" in words_of(draw_sides(PICTURES["empty"], format="svg"))


def test_the_description_names_the_newest_of_each_side_and_says_what_is_left_out():
    told = describe_sides(sides(3, 0))
    assert "Left: estimated one-repetition maximum 102.0 kg on 24 November 2025, 3 exposures." in told
    assert "Right: no estimate in these weeks. Deloads and sets that pain ended are left out." in told
