import re
import struct
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from io import BytesIO
from xml.etree import ElementTree

import pytest
from PIL import Image

from coaching.charts import describe_lift, describe_site, draw_lift, draw_site, picture_tag
from coaching.charts.ground import DARK, LIGHT
from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import (
    LiftHistory,
    LiftPoint,
    LiftTrend,
    SiteWeeks,
    weeks_until,
)

SUNDAY = date(2026, 3, 1)
SVG = "{http://www.w3.org/2000/svg}"


def site(weeks=16, until_on=SUNDAY, reps=None, pain=None, **changes):
    reps = tuple(float(rep) for rep in (reps or range(40, 40 + weeks)))
    pain = tuple(pain or [3] * weeks)
    parts = {
        "joint": "knee",
        "side": "left",
        "until_on": until_on,
        "week_starts": weeks_until(until_on, weeks),
        "joint_reps": reps,
        "joint_load_kg": tuple(rep * 20 for rep in reps),
        "pain_highest": pain,
        "pain_median": tuple(None if each is None else float(each) for each in pain),
        "reports": tuple(0 if each is None else 3 for each in pain),
        "is_deload": (False,) * weeks,
        "alert_openings": (),
        "notes_on": (),
    }
    return SiteWeeks(**(parts | changes))


def empty_site(weeks=16):
    return site(weeks, reps=(0,) * weeks, pain=[None] * weeks)


def lift(points=(), trend=None, name="Leg press", track="fresh"):
    return LiftHistory("leg_press", name, "left", track, date(2025, 11, 10), SUNDAY, tuple(points), trend)


def exposure(number, **changes):
    parts = {
        "day_on": date(2025, 11, 10) + timedelta(days=7 * number),
        "e1rm_kg": 100.0 + number,
        "best_load_kg": 90.0,
        "best_reps": 5,
        "best_rir": 0.0,
        "is_deload": False,
        "is_pain_limited": False,
    }
    return LiftPoint(**(parts | changes))


def png_size(png):
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    return struct.unpack(">II", png[16:24])


def words_of(svg):
    return " ".join(ElementTree.fromstring(svg).itertext())


SITES = {
    "usual": site(),
    "empty": empty_site(),
    "one week": site(1),
    "one empty week": empty_site(1),
    "two years": site(104),
    "missing pain": site(pain=[None, 2] * 8),
    "no pain at all": site(pain=[None] * 16),
    "pain without reps": site(reps=(0,) * 16),
    "part of a week": site(until_on=SUNDAY - timedelta(days=3)),
    "all deload": site(is_deload=(True,) * 16),
    "many alerts": site(
        alert_openings=tuple(
            AlertOpening(SUNDAY - timedelta(days=back), kind)
            for back, kind in enumerate(["red_flag", "pain_limit", "pain_with_volume", "pain_rising"] * 3)
        )
    ),
    "an alert on the day after": site(
        alert_openings=(AlertOpening(SUNDAY + timedelta(days=1), "pain_with_volume"),)
    ),
    "alerts and notes": site(
        alert_openings=(AlertOpening(date(2026, 2, 10), "pain_limit"),),
        notes_on=(date(2026, 2, 10), date(2026, 1, 5)),
    ),
    "huge numbers": site(reps=(1e6,) * 16, pain=[10] * 16),
}


@pytest.mark.parametrize("history", SITES.values(), ids=SITES.keys())
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_every_site_gives_a_picture_of_the_same_size(history, is_dark):
    assert png_size(draw_site(history, format="png", is_dark=is_dark)) == (720, 520)


@pytest.mark.parametrize("history", SITES.values(), ids=SITES.keys())
def test_every_sites_svg_carries_its_title_and_its_description(history):
    root = ElementTree.fromstring(draw_site(history, format="svg"))
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text == "Left knee: pain and joint reps"
    assert description is not None and description.text == describe_site(history)
    assert root.attrib["aria-labelledby"] == f"{title.attrib['id']} {description.attrib['id']}"


def test_axes_carry_their_units():
    words = words_of(draw_site(site(), format="svg"))
    assert all(label in words for label in ["pain (0-10)", "joint reps", "week beginning (2025-2026)"])


def test_an_alert_is_marked_in_words_and_not_by_colour_alone():
    history = site(alert_openings=(AlertOpening(date(2026, 2, 10), "pain_with_volume"),))
    assert "pain with volume" in words_of(draw_site(history, format="svg"))


def test_an_alerts_line_is_dashed_and_a_notes_is_dotted():
    svg = draw_site(SITES["alerts and notes"], format="svg").decode()
    dashes = set(re.findall(r"stroke-dasharray: ([^;]+);", svg))
    assert {"3.2,1.6", "0.8,1.6"} <= dashes


def test_an_alert_and_a_note_of_one_day_share_a_line():
    assert "pain limit + coach's note" in words_of(draw_site(SITES["alerts and notes"], format="svg"))


def test_the_description_names_every_alert_and_every_note():
    told = describe_site(SITES["alerts and notes"])
    assert "Alert on 10 February: pain limit. Coach's note on 10 February. Coach's note on 5 January." in told


def test_the_description_gives_the_year_of_a_day_more_than_a_year_ago():
    told = describe_site(site(104, alert_openings=(AlertOpening(date(2024, 6, 3), "pain_limit"),)))
    assert "Alert on 3 June 2024: pain limit." in told


def test_two_years_are_dated_with_their_years():
    assert "Mar 2024" in words_of(draw_site(SITES["two years"], format="svg"))


def test_no_pain_reported_is_said_in_the_picture_too():
    assert "No pain of a training day reported" in words_of(draw_site(SITES["no pain at all"], format="svg"))


def test_a_png_carries_its_title_and_its_description():
    words = Image.open(BytesIO(draw_site(site(), format="png"))).info
    assert (words["Title"], words["Description"]) == ("Left knee: pain and joint reps", describe_site(site()))


def test_an_svg_names_a_family_that_every_device_has():
    assert b"sans-serif" in draw_site(site(), format="svg")


@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_in_grey_the_inks_still_differ_from_the_paper_and_from_each_other(is_dark):
    ink = DARK if is_dark else LIGHT
    grey = {
        name: grey_of(getattr(ink, name)) for name in ("paper", "text", "bar_edge", "strong", "soft", "bar")
    }
    for name in ("text", "bar_edge", "strong", "soft"):
        assert contrast(grey[name], grey["paper"]) >= 3.0
    assert contrast(grey["bar"], grey["bar_edge"]) >= 1.5


def grey_of(colour):
    """Relative luminance: WCAG 2.2, definition of the term."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


def test_a_deload_week_is_hatched_and_named():
    history = site(is_deload=(False,) * 15 + (True,))
    svg = draw_site(history, format="svg")
    assert "deload week" in words_of(svg) and b"<pattern" in svg
    assert b"<pattern" not in draw_site(site(), format="svg")


def test_a_week_that_is_not_over_is_named_so():
    assert "week so far" in words_of(draw_site(SITES["part of a week"], format="svg"))
    assert "week so far" not in words_of(draw_site(site(), format="svg"))


def test_no_record_says_so_instead_of_drawing_zeros():
    assert "Nothing recorded in these weeks" in words_of(draw_site(empty_site(), format="svg"))


def test_the_same_history_gives_the_same_bytes():
    assert draw_site(site(), format="svg") == draw_site(site(), format="svg")
    assert draw_site(site(), format="png") == draw_site(site(), format="png")


def test_a_picture_loads_nothing_from_elsewhere():
    svg = draw_site(site(), format="svg").decode()
    assert "<script" not in svg and "<image" not in svg and "DOCTYPE" not in svg


def test_the_description_says_what_is_not_known():
    assert "No pain of a training day reported" in describe_site(site(pain=[None] * 16))


def test_the_description_names_the_range_and_the_newest_week():
    told = describe_site(site(pain=[1] * 15 + [6]))
    assert "Highest pain of a week between 1 and 6 of 10, 6 in the week of 23 February." in told


def test_the_tag_differs_by_data_form_and_theme():
    tags = {
        picture_tag(history, format=form, is_dark=is_dark)
        for history in (site(), site(pain=[4] * 16))
        for form in ("png", "svg")
        for is_dark in (False, True)
    }
    assert len(tags) == 8


TREND = LiftTrend(date(2025, 11, 10), date(2026, 2, 23), 16, 1.0, 0.5, 1.5, 7.5, 107.5)
LIFTS = {
    "usual": lift([exposure(n) for n in range(16)], TREND),
    "empty": lift(),
    "one exposure": lift([exposure(3)]),
    "no estimate": lift([exposure(3, e1rm_kg=None)]),
    "deload and pain": lift([exposure(1, is_deload=True), exposure(2, is_pain_limited=True)]),
    "long name": lift([exposure(1)], name="L" * 120, track="after:" + "x" * 60),
    "wide letters": lift([exposure(1)], name="W" * 60),
    "two years, many": lift([exposure(n / 7) for n in range(110)], TREND),
    "markup in the name": lift([exposure(1)], name='<b>&"$x^2$'),
    "half a formula in the name": lift([exposure(1)], name="$\\frac{ press"),
    "letters the font lacks": lift([exposure(1)], name="脚 press 🏋"),
    "letters no file may hold": lift([exposure(1)], name="Leg\uffff\x0b press"),
}


@pytest.mark.parametrize("history", LIFTS.values(), ids=LIFTS.keys())
def test_every_lift_gives_a_picture_of_the_same_size(history):
    assert png_size(draw_lift(history, format="png")) == (720, 520)


@pytest.mark.parametrize("history", LIFTS.values(), ids=LIFTS.keys())
def test_every_lifts_svg_carries_its_description(history):
    root = ElementTree.fromstring(draw_lift(history, format="svg", is_dark=True))
    description = root.find(f"{SVG}desc")
    assert description is not None and description.text == describe_lift(history)


@pytest.mark.parametrize("name", ["long name", "wide letters"])
def test_a_title_too_wide_is_cut_but_keeps_its_side(name):
    (title,) = [
        text
        for text in ElementTree.fromstring(draw_lift(LIFTS[name], format="svg")).iter(f"{SVG}text")
        if "bold" in text.attrib["style"] or "700" in text.attrib["style"]
    ]
    assert title.text.startswith(LIFTS[name].exercise_name[:8])
    assert "…, left side" in title.text and len(title.text) < 50


def test_the_whole_title_stays_for_screen_readers():
    root = ElementTree.fromstring(draw_lift(LIFTS["long name"], format="svg"))
    assert "L" * 120 in root.findtext(f"{SVG}title")


def test_a_trend_is_told_with_its_limits():
    words = words_of(draw_lift(LIFTS["usual"], format="svg"))
    assert "Trend +1.00 kg a week (95 % interval +0.50 to +1.50)" in words


STALLS = (AlertOpening(date(2026, 1, 12), "stalled_lift"), AlertOpening(date(2026, 2, 20), "regressing_lift"))


def test_a_lifts_alerts_are_marked_by_words_a_dashed_line_and_a_triangle():
    svg = draw_lift(replace(LIFTS["usual"], alert_openings=STALLS), format="svg").decode()
    assert {"stalled lift", "regressing lift"} <= {text.text for text in ElementTree.fromstring(svg).iter()}
    assert svg.count("stroke-dasharray: 3.2,1.6") == 2
    assert svg.count("<use") == draw_lift(LIFTS["usual"], format="svg").decode().count("<use") + 2


def test_a_lifts_description_names_its_alerts():
    told = describe_lift(replace(LIFTS["usual"], alert_openings=STALLS))
    assert told.endswith("Alert on 12 January: stalled lift. Alert on 20 February: regressing lift.")


@pytest.mark.parametrize("name", LIFTS)
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_every_lift_is_drawn_with_many_alerts_too(name, is_dark):
    days = [SUNDAY + timedelta(days=1 - 5 * back) for back in range(12)]
    marked = replace(LIFTS[name], alert_openings=tuple(AlertOpening(day, "stalled_lift") for day in days))
    assert png_size(draw_lift(marked, format="png", is_dark=is_dark)) == (720, 520)


def test_too_few_exposures_show_no_trend():
    assert "Too few comparable exposures" in words_of(draw_lift(LIFTS["one exposure"], format="svg"))


def test_importing_the_pictures_does_not_load_the_drawing_library():
    code = (
        "import django, os, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'coaching.settings'; django.setup(); "
        "import coaching.charts; sys.exit('matplotlib' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_where_words_find_no_room_the_newest_alert_keeps_its_own():
    days = [SUNDAY - timedelta(days=back) for back in range(5)]
    history = site(
        alert_openings=tuple(
            AlertOpening(day, kind)
            for day, kind in zip(days, ["red_flag", *["pain_with_volume"] * 4], strict=True)
        )
    )
    root = ElementTree.fromstring(draw_site(history, format="svg"))
    drawn = [text.text for text in root.iter(f"{SVG}text")]
    assert "red flag" in drawn and drawn.count("pain with volume") == 2
