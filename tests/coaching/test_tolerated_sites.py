from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import JointDay
from coaching.reads.tolerated import tolerated_sites
from tests.factories import ClientFactory, InjuryFactory

UNTIL = date(2026, 3, 1)


@pytest.fixture
def client(db):
    return ClientFactory()


def days(client, count, *, ends=UNTIL, joint_reps=5.0, pain=1, morning=1, joint="knee", side="left"):
    """So many days up to `ends`, all alike."""
    JointDay.objects.bulk_create(
        JointDay(
            practice=client.practice,
            client=client,
            day_on=ends - timedelta(days=back),
            joint=joint,
            side=side,
            joint_reps=joint_reps,
            pain=pain,
            pain_next_morning=morning,
        )
        for back in range(count)
    )


def sites(client, **more):
    return {site.target: site for site in tolerated_sites(client_id=client.id, until_on=UNTIL, **more).sites}


def knee(client):
    return sites(client)["knee:left"]


def test_steady_weeks_without_pain_are_tolerated_and_counted(client):
    days(client, 28)
    found = knee(client)
    assert (found.highest, found.repeated, found.most_done, found.last_7_days) == (35, 35, 35, 35)
    assert (found.highest_until_on, found.first_on) == (date(2026, 2, 22), date(2026, 2, 2))
    assert (found.weeks, found.quiet_weeks, found.separate_quiet_weeks) == (15, 15, 3)
    assert (found.days_of_history, found.not_quiet_weeks, found.unknown_weeks) == (28, 0, 0)
    assert found.sentence == (
        "Up to 35 joint reps a week of the left knee were followed by a quiet week (the seven days to "
        "2026-02-22); up to 35 more than once. Rests on 3 quiet weeks without a day in common. Of 15 "
        "overlapping weeks 0 were not followed by quiet (0 of these no higher), 0 are not known. It tells "
        "what has been, not what is safe."
    )


def test_week_that_hurt_is_not_tolerated_however_high(client):
    days(client, 14, ends=UNTIL - timedelta(days=14))
    days(client, 7, ends=UNTIL - timedelta(days=7), joint_reps=20.0, pain=7)
    days(client, 7)
    found = knee(client)
    assert (found.highest, found.most_done) == (35, 140)
    assert found.not_quiet_weeks == 14
    assert found.repeated is None
    assert "nothing was followed by one more than once" in found.sentence


def test_clients_own_pain_limit_counts(client):
    days(client, 28, pain=4)
    assert knee(client).quiet_weeks == 15
    InjuryFactory(client=client, pain_limit=8)
    InjuryFactory(client=client, pain_limit=4)
    assert knee(client).quiet_weeks == 0
    assert "None of its weeks was followed by a quiet one" in knee(client).sentence


def test_pain_never_reported_is_unknown_and_not_quiet(client):
    days(client, 28, pain=None, morning=None)
    found = knee(client)
    assert (found.highest, found.quiet_weeks, found.unknown_weeks) == (None, 0, 15)
    assert found.sentence == (
        "The most that the left knee has done in seven days is 35 joint reps, but how any of its weeks felt "
        "is not known, so none can be called tolerated."
    )


@pytest.mark.parametrize("count", [1, 6, 7, 13])
def test_less_than_a_fortnight_is_too_little(client, count):
    days(client, count)
    assert (knee(client).weeks, knee(client).highest) == (0, None)
    assert (
        knee(client).sentence == "Too little history: no week of the left knee has seven days after it yet."
    )


def test_injured_site_without_a_joint_rep_says_that_there_is_no_history(client):
    InjuryFactory(client=client, joint="hip", side="right")
    InjuryFactory(client=client, joint="other", side="left", other_site="jaw")
    (found,) = sites(client).values()
    assert (found.target, found.first_on, found.days_of_history) == ("hip:right", None, 0)
    assert found.sentence == "No history: no joint reps of the right hip are known in 365 days."


def test_site_asked_after_is_there_without_history(client):
    assert sites(client, also={"elbow:left"})["elbow:left"].highest is None


def test_nothing_known_is_no_site(client):
    assert sites(client) == {}


def test_days_after_the_last_one_and_older_than_a_year_are_not_seen(client):
    days(client, 28, ends=UNTIL + timedelta(days=28), joint_reps=50.0)
    days(client, 28, ends=UNTIL - timedelta(days=365), joint_reps=50.0)
    assert sites(client) == {}


def test_first_part_of_a_week_is_no_light_week(client):
    days(client, 21)
    assert knee(client).weeks == 8


def test_sites_that_are_not_trended_are_left_out(client):
    days(client, 21, joint="other")
    assert sites(client) == {}


def test_sides_are_kept_apart(client):
    days(client, 21)
    days(client, 21, side="right", joint_reps=9.0)
    assert {target: site.highest for target, site in sites(client).items()} == {
        "knee:left": 35,
        "knee:right": 63,
    }


def test_other_clients_days_do_not_count(client):
    days(ClientFactory(), 28)
    assert sites(client) == {}


def test_it_takes_two_queries_however_long_the_history(client):
    for side in ("left", "right"):
        days(client, 300, side=side)
    with CaptureQueriesContext(connection) as queries:
        sites(client)
    assert len(queries) == 2
