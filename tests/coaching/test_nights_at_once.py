"""Two of everything is harmless: ticks, posts and nights at the same moment, on a real PostgreSQL."""

import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier

import pytest
from django.db import connection
from rest_framework.test import APIClient

from coaching import nightly
from coaching.budget import Budget
from coaching.models import MailRow, Night, NightClient, Score, Session
from coaching.models.scope import across_practices
from coaching.operations import nights
from tests.bodies import session_body
from tests.conftest import token_for
from tests.database_faults import cut_the_connection, fault_at, have_it_taken_back
from tests.factories import ClientFactory, ConsentFactory, MembershipFactory

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]

NOW = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)
CALLERS = 4


def at_once(work, callers=CALLERS):
    """What `work` gives to each of so many callers that begin at the same moment."""
    barrier = Barrier(callers)

    def call(number):
        try:
            barrier.wait(10)
            return work(number)
        finally:
            connection.close()

    with ThreadPoolExecutor(callers) as pool:
        return list(pool.map(call, range(callers)))


def test_four_ticks_at_once_score_each_client_once_and_mail_each_coach_once():
    clients = 3 * nights.CHUNK
    ClientFactory.create_batch(clients, coach=MembershipFactory())
    at_once(lambda number: nightly.run_due_nights(now=NOW, budget=Budget.of(30)))
    assert Night.objects.get().clients_scored == clients
    assert Score.objects.count() == NightClient.objects.filter(state="scored").count() == clients
    assert MailRow.objects.count() == 1


def test_two_ticks_and_a_night_by_hand_at_once_score_each_client_once():
    clients = 3 * nights.CHUNK
    coach = MembershipFactory()
    ClientFactory.create_batch(clients, coach=coach)

    def by_hand_or_by_tick(number):
        if number:
            return nightly.run_due_nights(now=NOW, budget=Budget.of(30)).clients
        with across_practices("by hand"):
            night = nightly.night_by_hand(practice=coach.practice, night_on=NOW.date(), now=NOW)
            return nightly.run_night(night=night, now=NOW)[0].clients

    assert sum(at_once(by_hand_or_by_tick, callers=3)) == clients
    nightly.run_due_nights(now=NOW, budget=Budget.of(30))
    assert (Night.objects.get().status, Night.objects.get().clients_scored) == ("done", clients)
    assert Score.objects.count() == NightClient.objects.filter(state="scored").count() == clients
    assert MailRow.objects.count() == 1


def test_sixteen_posts_of_one_id_at_once_end_in_one_session():
    client = ClientFactory()
    ConsentFactory(client=client)
    token, uid, bodies = token_for(client), uuid.uuid4(), [session_body(), session_body()]

    def post(number):
        app = APIClient(raise_request_exception=False)
        app.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
        return app.put(f"/api/v1/sessions/{uid}", bodies[number % 2], format="json").status_code

    answers = at_once(post, callers=8)
    assert Session.objects.count() == 1
    assert answers.count(201) == 1
    assert set(answers) <= {200, 201, 409}


def test_a_chunk_that_met_a_deadlock_is_done_again_and_held_against_nobody():
    ClientFactory.create_batch(3, coach=MembershipFactory())
    with fault_at('INSERT INTO "coaching_score"', have_it_taken_back, times=2):
        nightly.run_due_nights(now=NOW, budget=Budget.of(30))
    assert {(item.state, item.attempts) for item in NightClient.objects.all()} == {("scored", 1)}


def test_a_chunk_whose_connection_was_lost_is_done_client_by_client():
    ClientFactory.create_batch(3, coach=MembershipFactory())
    with fault_at('INSERT INTO "coaching_score"', cut_the_connection):
        nightly.run_due_nights(now=NOW, budget=Budget.of(30))
    assert {(item.state, item.attempts) for item in NightClient.objects.all()} == {("scored", 2)}
    assert Night.objects.get().status == "done"


def test_many_ticks_at_once_on_a_small_night_set_nobody_aside():
    coach = MembershipFactory()
    ClientFactory.create_batch(2, coach=coach)
    for day in range(20):
        now = NOW + timedelta(days=day)
        at_once(lambda number, now=now: nightly.run_due_nights(now=now, budget=Budget.of(30)), callers=8)
    assert set(NightClient.objects.values_list("state", "attempts")) == {("scored", 1)}
    assert Night.objects.filter(status="done", clients_scored=2).count() == 20


def test_a_client_with_whom_the_connection_was_lost_is_not_set_aside_for_it():
    ClientFactory(coach=MembershipFactory())
    with fault_at('INSERT INTO "coaching_score"', cut_the_connection, times=6):
        nightly.run_due_nights(now=NOW, budget=Budget.of(30))
    assert {(item.state, item.attempts) for item in NightClient.objects.all()} == {("scored", 7)}
