"""Adherence by week: read from a calendar with its logs, drawn, and told in words."""

from dataclasses import replace
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.charts import describe_adherence, draw_adherence, picture_tag
from coaching.models import ScheduledSession, Session
from coaching.operations.assignments import assign_plan
from coaching.reads.adherence_weeks import AdherenceWeek, AdherenceWeeks, adherence_weeks
from coaching.reads.history import weeks_until
from tests.coaching.test_charts import SVG, png_size, words_of
from tests.factories import NOW
from tests.plan_builders import actor_of, knee_lift, plan_by

MONDAY = date(2026, 3, 2)
SUNDAY = date(2026, 3, 1)
NOTHING = AdherenceWeek(MONDAY, None, None, 0, 0, 0, 0, 0, 0)


@pytest.fixture
def calendar(cast):
    """Two left-sided sets of 6 to 10 on 2, 5, 9 and 12 March."""
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, knee_lift(), deload_weeks=()).uid,
        starts_on=MONDAY,
        override_reason="",
        now=NOW,
    )
    return list(ScheduledSession.objects.order_by("due_on"))


def log(scheduled, *, days_late=0, work_reps=12):
    return Session.objects.create(
        practice=scheduled.practice,
        client=scheduled.client,
        scheduled_session=scheduled,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=scheduled.due_on + timedelta(days=days_late),
        work_sets=2,
        work_reps=work_reps,
        content_hash="x",
        received_at=NOW,
    )


def week_of(cast, until_on=date(2026, 3, 15), weeks=2):
    return adherence_weeks(cast.client.id, until_on, weeks).weeks


def test_a_week_half_logged_lies_between_what_was_done_and_all_of_it(cast, calendar):
    log(calendar[0], work_reps=6)
    first, second = week_of(cast)
    assert first == replace(NOTHING, low=0.25, high=0.75, done=1, unknown=1)
    assert (second.low, second.high, second.unknown) == (0, 1, 2)


def test_a_session_said_not_to_be_done_lowers_both_bounds(cast, calendar):
    log(calendar[0])
    ScheduledSession.objects.filter(id=calendar[1].id).update(status="not_done")
    assert week_of(cast)[0] == replace(NOTHING, low=0.5, high=0.5, done=1, not_done=1)


def test_a_session_logged_after_its_grace_days_is_late(cast, calendar):
    log(calendar[0], days_late=3)
    assert week_of(cast)[0].late == 1


def test_a_session_of_yesterday_is_still_open_and_one_of_tomorrow_is_not_there(cast, calendar):
    (week,) = week_of(cast, until_on=date(2026, 3, 6), weeks=1)
    assert (week.unknown, week.pending, week.counted) == (1, 1, 1)
    (week,) = week_of(cast, until_on=date(2026, 3, 4), weeks=1)
    assert (week.pending, week.counted) == (0, 1)


@pytest.mark.parametrize("status", ["cancelled", "clinician_stop"])
def test_excused_sessions_leave_a_week_that_is_not_known(cast, calendar, status):
    ScheduledSession.objects.update(status=status)
    assert week_of(cast)[0] == replace(NOTHING, excused=2)


def test_another_clients_calendar_is_not_seen(cast, calendar):
    assert adherence_weeks(cast.colleagues_client.id, date(2026, 3, 15)).is_empty


def test_queries_do_not_grow_with_weeks(cast, calendar):
    def queries(weeks):
        with CaptureQueriesContext(
            connection,
        ) as captured:
            week_of(cast, weeks=weeks)
        return len(captured)

    assert queries(104) == queries(1)


def picture(*rows, until_on=SUNDAY):
    """Weeks, each the changes to a week of two sessions done and one without a log."""
    usual = {"low": 2 / 3, "high": 1.0, "done": 2, "unknown": 1}
    starts = weeks_until(until_on, len(rows))
    weeks = (
        replace(NOTHING, starts_on=start, **usual | row) for start, row in zip(starts, rows, strict=True)
    )
    return AdherenceWeeks(until_on, tuple(weeks))


EMPTY = {"low": None, "high": None, "done": 0, "unknown": 0}
SKIPPED = {"low": 0.0, "high": 0.0, "done": 0, "unknown": 0, "not_done": 3}
PICTURES = {
    "usual": picture(*[{}] * 16),
    "empty": picture(*[EMPTY] * 16),
    "one week": picture({}),
    "one empty week": picture(EMPTY),
    "two years": picture(*[{}, SKIPPED] * 52),
    "all skipped": picture(*[SKIPPED] * 16),
    "only excused": picture(*[EMPTY | {"excused": 3}] * 16),
    "all kinds": picture(*[{"late": 1, "not_done": 1, "pending": 1, "excused": 1}] * 16),
}


@pytest.mark.parametrize("adherence", PICTURES.values(), ids=PICTURES.keys())
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_every_adherence_gives_a_picture_of_the_same_size(adherence, is_dark):
    assert png_size(draw_adherence(adherence, format="png", is_dark=is_dark)) == (720, 520)


@pytest.mark.parametrize("adherence", PICTURES.values(), ids=PICTURES.keys())
def test_its_svg_carries_title_and_description(adherence):
    root = ElementTree.fromstring(draw_adherence(adherence, format="svg"))
    assert root.findtext(f"{SVG}title") == "Adherence by week"
    assert root.findtext(f"{SVG}desc") == describe_adherence(adherence)


def test_each_kind_of_session_is_named_in_the_key_and_the_unlogged_are_hatched():
    svg = draw_adherence(PICTURES["all kinds"], format="svg")
    drawn = [text.text for text in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    assert {"done", "done too late", "no log", "not done", "still open"} <= set(drawn)
    assert svg.count(b"<pattern") == 2


def test_kinds_that_do_not_occur_are_not_in_the_key():
    assert "still open" not in words_of(draw_adherence(PICTURES["usual"], format="svg"))


def test_where_all_is_known_there_is_no_upper_bound_to_explain():
    assert "at most" in words_of(draw_adherence(PICTURES["usual"], format="svg"))
    assert "at most" not in words_of(draw_adherence(PICTURES["all skipped"], format="svg"))


def test_no_calendar_says_so_instead_of_drawing_zeros():
    assert "No session was scheduled" in words_of(draw_adherence(PICTURES["empty"], format="svg"))
    assert "No session counts" in words_of(draw_adherence(PICTURES["only excused"], format="svg"))


def test_the_words_tell_the_bounds_and_what_they_rest_on():
    assert describe_adherence(picture(SKIPPED, {}, EMPTY, {})) == (
        "Adherence by week, 4 weeks to 1 March 2026. 9 sessions counted: 4 done, 2 without a log, which may "
        "have been done, 3 not done. Of what was prescribed, 67 to 100 % was done in the week of 23 "
        "February; the lowest week is that of 2 February, with 0 %. 1 week without a session that counts."
    )


def test_the_words_of_a_single_week_do_not_name_it_twice():
    assert "lowest" not in describe_adherence(picture({}))


def test_sessions_that_do_not_count_are_told_apart():
    told = describe_adherence(picture(EMPTY | {"pending": 1, "excused": 2}))
    assert "0 sessions counted. 1 still open. 2 cancelled or stopped by a clinician." in told
    assert told.endswith("No week has a session that counts.")


def test_one_more_log_is_another_picture():
    tags = {picture_tag(each, format="svg", is_dark=False) for each in (picture({}), picture({"done": 3}))}
    assert len(tags) == 2
