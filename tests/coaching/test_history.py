from datetime import date, timedelta

import pytest

from coaching.models import InterventionNote, JointDay, LiftDay, PainReport, Session
from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import (
    SiteKey,
    client_history,
    lift_history,
    site_weeks,
    sites_weeks,
    tag_of,
    weeks_until,
)
from tests.factories import NOW, AlertFactory, ClientFactory, ExerciseFactory

MONDAY = date(2026, 2, 23)
SUNDAY = date(2026, 3, 1)


@pytest.fixture
def client(db):
    return ClientFactory()


@pytest.fixture
def leg_press(db):
    return ExerciseFactory(code="invented_press", name="Invented press")


def joint_day(client, day_on, reps=10.0, load_kg=200.0, pain=None, joint="knee", side="left"):
    return JointDay.objects.create(
        practice=client.practice,
        client=client,
        day_on=day_on,
        joint=joint,
        side=side,
        joint_reps=reps,
        joint_load_kg=load_kg,
        pain=pain,
    )


def lift_day(client, exercise, day_on, e1rm_kg=100.0, **changes):
    parts = {"side": "left", "track": "fresh", "best_load_kg": 80.0, "best_reps": 5, "best_rir": 0.0}
    return LiftDay.objects.create(
        practice=client.practice,
        client=client,
        exercise=exercise,
        day_on=day_on,
        e1rm_kg=e1rm_kg,
        **(parts | changes),
    )


def pain_report(client, felt_on, moment="during", pain=4):
    return PainReport.objects.create(
        practice=client.practice,
        client=client,
        joint="knee",
        side="left",
        moment=moment,
        pain=pain,
        felt_on=felt_on,
        reported_at=NOW,
        received_at=NOW,
        content_hash="x",
    )


def left_knee(client, weeks=2, until_on=SUNDAY, **options):
    return site_weeks(client.id, "knee", "left", until_on, weeks, **options)


def test_weeks_are_iso_weeks_and_the_newest_holds_the_day():
    assert weeks_until(date(2026, 1, 1), 2) == (date(2025, 12, 22), date(2025, 12, 29))


def test_a_sunday_ends_its_own_week():
    assert weeks_until(SUNDAY, 1) == (MONDAY,)


def test_repetitions_and_load_add_up_by_week(client):
    for day_on in (MONDAY - timedelta(days=1), MONDAY, SUNDAY):
        joint_day(client, day_on)
    found = left_knee(client)
    assert (found.joint_reps, found.joint_load_kg) == ((10.0, 20.0), (200.0, 400.0))


def test_days_after_the_last_one_are_not_seen(client):
    joint_day(client, SUNDAY)
    assert left_knee(client, until_on=SUNDAY - timedelta(days=1)).joint_reps == (0.0, 0.0)


def test_other_sites_and_other_clients_do_not_mix_in(client):
    joint_day(client, MONDAY, side="right")
    joint_day(ClientFactory(), MONDAY)
    assert left_knee(client).is_empty


def test_pain_is_the_highest_and_the_median_of_the_weeks_days(client):
    for back, pain in enumerate([2, 7, 3, None]):
        joint_day(client, SUNDAY - timedelta(days=back), pain=pain)
    found = left_knee(client)
    assert (found.pain_highest[-1], found.pain_median[-1]) == (7, 3.0)


def test_no_pain_reported_is_not_known_and_not_zero(client):
    joint_day(client, MONDAY)
    found = left_knee(client)
    assert found.pain_highest == found.pain_median == (None, None)


def test_pain_zero_is_known(client):
    joint_day(client, MONDAY, reps=0.0, pain=0)
    found = left_knee(client)
    assert found.pain_highest[-1] == 0 and not found.is_empty


def test_every_report_counts_whatever_its_moment(client):
    for moment in ("before", "during", "at_rest"):
        pain_report(client, MONDAY, moment)
    assert left_knee(client).reports == (0, 3)


def test_a_week_with_a_deload_session_is_a_deload_week(client):
    session = Session.objects.create(
        practice=client.practice,
        client=client,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=MONDAY,
        is_deload=True,
        content_hash="x",
        received_at=NOW,
    )
    assert left_knee(client).is_deload == (False, True)
    Session.objects.filter(id=session.id).update(deleted_at=NOW)
    assert left_knee(client).is_deload == (False, False)


def test_alerts_of_the_site_are_shown_where_they_opened(client):
    AlertFactory(client=client, opened_on=MONDAY)
    AlertFactory(client=client, opened_on=MONDAY, target="knee:right")
    AlertFactory(client=client, opened_on=MONDAY, kind="off_plan", target="")
    AlertFactory(client=client, opened_on=MONDAY - timedelta(days=90), kind="pain_rising")
    assert left_knee(client).alert_openings == (AlertOpening(MONDAY, "pain_with_volume"),)


def test_an_alert_of_the_night_that_saw_the_last_day_is_shown(client):
    AlertFactory(client=client, opened_on=SUNDAY + timedelta(days=1))
    AlertFactory(client=client, opened_on=SUNDAY + timedelta(days=2), kind="pain_rising")
    assert [row.kind for row in left_knee(client).alert_openings] == ["pain_with_volume"]


def test_private_notes_are_left_out_where_asked(client):
    for day_on, is_shared in ((MONDAY, False), (SUNDAY, True)):
        InterventionNote.objects.create(
            practice=client.practice,
            client=client,
            joint="knee",
            side="left",
            noted_on=day_on,
            changed="Slower tempo.",
            is_shared=is_shared,
            created_at=NOW,
        )
    assert left_knee(client).notes_on == (MONDAY, SUNDAY)
    assert left_knee(client, with_private=False).notes_on == (SUNDAY,)


def test_many_sites_take_as_many_queries_as_one(client, django_assert_num_queries):
    other = ClientFactory(coach=client.coach)
    keys = [SiteKey(who.id, "knee", side) for who in (client, other) for side in ("left", "right")]
    for key in keys:
        joint_day(client if key.client_id == client.id else other, MONDAY, side=key.side)
    with django_assert_num_queries(5):
        found = sites_weeks(keys, SUNDAY)
    assert all(found[key].joint_reps[-1] == 10.0 for key in keys)


def test_a_lift_knows_its_days_in_order_and_only_its_track(client, leg_press):
    lift_day(client, leg_press, SUNDAY, 101.0)
    lift_day(client, leg_press, MONDAY, None)
    lift_day(client, leg_press, MONDAY, 60.0, track="after:leg_extension")
    lift_day(client, leg_press, MONDAY, 70.0, side="right")
    found = lift_history(client.id, leg_press.id, "left", "fresh", SUNDAY)
    assert [(point.day_on, point.e1rm_kg) for point in found.points] == [(MONDAY, None), (SUNDAY, 101.0)]


def test_a_lift_never_done_has_a_name_and_no_points(client, leg_press):
    found = lift_history(client.id, leg_press.id, "left", "fresh", SUNDAY)
    assert (found.exercise_name, found.points, found.trend) == ("Invented press", (), None)


def test_the_trend_is_what_the_exposures_gain_a_week(client, leg_press):
    for week in range(8):
        lift_day(client, leg_press, MONDAY - timedelta(days=7 * week), 120.0 - 2 * week)
    trend = lift_history(client.id, leg_press.id, "left", "fresh", SUNDAY).trend
    assert trend is not None
    assert (trend.kg_per_week, trend.exposures) == (pytest.approx(2.0), 8)


def test_deloads_and_pain_ended_exposures_do_not_bend_the_trend(client, leg_press):
    for week in range(8):
        lift_day(client, leg_press, MONDAY - timedelta(days=7 * week), 120.0 - 2 * week)
    lift_day(client, leg_press, SUNDAY, 40.0, is_deload=True)
    lift_day(client, leg_press, SUNDAY - timedelta(days=1), 40.0, is_pain_limited=True)
    found = lift_history(client.id, leg_press.id, "left", "fresh", SUNDAY)
    assert found.trend is not None and found.trend.kg_per_week == pytest.approx(2.0)
    assert len(found.points) == 10


def test_three_exposures_are_too_few_for_a_trend(client, leg_press):
    for week in range(3):
        lift_day(client, leg_press, MONDAY - timedelta(days=7 * week))
    assert lift_history(client.id, leg_press.id, "left", "fresh", SUNDAY).trend is None


def test_a_lift_knows_when_alerts_about_it_opened_and_no_others(client, leg_press):
    lift_day(client, leg_press, MONDAY)
    about = {"client": client, "kind": "stalled_lift"}
    AlertFactory(**about, target="invented_press:left:fresh", opened_on=SUNDAY + timedelta(days=1))
    AlertFactory(**about, target="invented_press:right:fresh", opened_on=SUNDAY)
    AlertFactory(client=ClientFactory(coach=client.coach), kind="stalled_lift",
                 target="invented_press:left:fresh", opened_on=SUNDAY)  # fmt: skip
    openings = (AlertOpening(SUNDAY + timedelta(days=1), "stalled_lift"),)
    assert lift_history(client.id, leg_press.id, "left", "fresh", SUNDAY).alert_openings == openings
    assert client_history(client.id, SUNDAY, 4).lifts[0].alert_openings == openings


def test_a_clients_history_holds_every_site_and_lift(client, leg_press):
    joint_day(client, MONDAY)
    joint_day(client, MONDAY, joint="hip")
    joint_day(client, MONDAY, joint="other", side="midline")
    lift_day(client, leg_press, MONDAY)
    found = client_history(client.id, SUNDAY, 4)
    assert [(site.joint, site.side) for site in found.sites] == [("hip", "left"), ("knee", "left")]
    assert [lift.exercise_code for lift in found.lifts] == ["invented_press"]


def test_a_clients_history_takes_the_same_queries_however_much_there_is(
    client, leg_press, django_assert_num_queries
):
    for joint in ("knee", "hip", "ankle", "shoulder"):
        joint_day(client, MONDAY, joint=joint)
    for number in range(4):
        lift_day(client, ExerciseFactory(code=f"lift_{number}"), MONDAY)
    with django_assert_num_queries(9):
        client_history(client.id, SUNDAY, 104)


def test_a_client_without_records_has_an_empty_history(client):
    found = client_history(client.id, SUNDAY, 3)
    assert (len(found.week_starts), found.sites, found.lifts, found.rir_bias.n_sets) == (3, (), (), 0)


def test_the_tag_changes_with_the_history(client):
    before = tag_of(left_knee(client))
    assert tag_of(left_knee(client)) == before
    joint_day(client, MONDAY, pain=3)
    assert tag_of(left_knee(client)) != before
