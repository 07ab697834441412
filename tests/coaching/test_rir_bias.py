"""A client's stated reserve against what sets to failure then showed: measured, shown, never applied."""

from datetime import date, timedelta

import pytest

from coaching.models import LiftDay, LoggedSet, Session
from coaching.operations.rollups import rebuild_days
from coaching.reads.rir_bias import MIN_SETS, stated_reserve
from tests.factories import NOW, ClientFactory, ExerciseFactory

TODAY = date(2026, 3, 2)


@pytest.fixture
def client(db):
    return ClientFactory()


@pytest.fixture
def train(client):
    """Store one set per (guess, after how many repetitions, repetitions in all), all to failure."""
    squat = ExerciseFactory(code="invented_squat")

    def log(*guesses, client=client, on=TODAY, deleted_at=None, **changes):
        session = Session.objects.create(
            practice=client.practice,
            client=client,
            performed_at=NOW,
            zone="Europe/Berlin",
            performed_on=on,
            content_hash="v1:any",
            received_at=NOW,
            deleted_at=deleted_at,
        )
        for position, (guessed, after, reps) in enumerate(guesses, start=1):
            parts = {"kind": "work", "side": "both", "ended_by": "failure", "load_thousandths": 100_000}
            LoggedSet.objects.create(
                practice=client.practice,
                session=session,
                exercise=squat,
                position=position,
                reps=reps,
                guessed_rir=guessed,
                guessed_after_reps=after,
                **(parts | changes),
            )

    return log


def test_bias_is_what_was_still_done_minus_what_was_stated(client, train):
    train((2, 5, 8), (2, 5, 7), (3, 4, 9), (1, 6, 8), (2, 0, 3))
    found = stated_reserve(client.id, TODAY)
    assert (found.n_sets, found.mean_reps) == (5, 1.0)
    # Errors 1, 0, 2, 1, 1: sample standard deviation sqrt(0.5), limits 1.96 of it to either side.
    assert found.low_reps == pytest.approx(1 - 1.96 * 0.5**0.5)
    assert found.high_reps == pytest.approx(1 + 1.96 * 0.5**0.5)
    assert (found.computed.method, found.computed.version) == ("limits_of_agreement", "1")
    assert (found.computed.until_on - found.computed.from_on).days == 364


def test_too_few_sets_give_their_count_and_no_number(client, train):
    train(*[(2, 5, 8)] * (MIN_SETS - 1))
    found = stated_reserve(client.id, TODAY)
    assert (found.n_sets, found.min_sets) == (MIN_SETS - 1, MIN_SETS)
    assert (found.mean_reps, found.low_reps, found.high_reps) == (None, None, None)


@pytest.mark.parametrize("ended_by", ["target", "pain", "technique", "other"])
def test_only_a_set_to_failure_shows_what_was_left(client, train, ended_by):
    train((2, 5, 8), ended_by=ended_by)
    assert stated_reserve(client.id, TODAY).n_sets == 0


def test_a_set_without_a_guess_is_left_out(client, train):
    train((None, None, 8))
    assert stated_reserve(client.id, TODAY).n_sets == 0


@pytest.mark.parametrize(("days_ago", "n_sets"), [(-1, 0), (0, 1), (364, 1), (365, 0)])
def test_the_window_is_a_year_up_to_the_day_asked_for(client, train, days_ago, n_sets):
    train((2, 5, 8), on=TODAY - timedelta(days=days_ago))
    assert stated_reserve(client.id, TODAY).n_sets == n_sets


def test_sets_of_others_and_of_deleted_sessions_are_left_out(client, train):
    train((2, 5, 8), client=ClientFactory())
    train((2, 5, 8), deleted_at=NOW)
    assert stated_reserve(client.id, TODAY).n_sets == 0


def test_bias_takes_one_query(client, train, django_assert_num_queries):
    train(*[(2, 5, 8)] * 20)
    with django_assert_num_queries(1):
        stated_reserve(client.id, TODAY)


def test_strength_is_the_same_with_and_without_a_large_bias(client, train):
    other = ClientFactory()
    train(*[(1, 2, 8)] * MIN_SETS)
    train(*[(None, None, 8)] * MIN_SETS, client=other)
    for each in (client, other):
        rebuild_days(client=each, days={TODAY})
    assert stated_reserve(client.id, TODAY).mean_reps == 5
    biased, unbiased = (LiftDay.objects.get(client=each) for each in (client, other))
    # Epley by hand: 100 kg x (1 + 8 / 30), to failure.
    assert biased.e1rm_kg == unbiased.e1rm_kg == pytest.approx(100 * (1 + 8 / 30))
    assert biased.best_rir == unbiased.best_rir == 0
