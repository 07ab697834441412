"""The feed while others write: on PostgreSQL ids are seen out of order, and no reader may miss one for it."""

import random
import time
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event, Thread

import pytest
from django.db import connection, transaction

from coaching.models import Alert, Change, ChangeKind, NightClient, ScheduledSession, Session
from coaching.nightly import night_by_hand, run_night
from coaching.operations.assignments import assign_plan
from coaching.operations.changes import Changed, note_changes, note_what_follows_a_post, tell_anew
from coaching.reads.changes import changes_for
from tests.factories import NOW, AlertFactory, ClientFactory
from tests.plan_builders import actor_of, knee_lift, plan_by

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]
PATIENCE_S = 20


@pytest.fixture
def client():
    return ClientFactory()


def note(client, *uids, is_deleted=False):
    changed = [Changed(client.id, ChangeKind.SESSION, uid, is_deleted) for uid in uids]
    note_changes(practice_id=client.practice_id, changed=changed, now=NOW)


def read(client, since=0, page_size=200):
    return changes_for(
        actor_of(client.coach), client_uid=client.uid, since=since, page_size=page_size, now=NOW
    )


def uids(page):
    return [item.change.record_uid for item in page.items]


class Open:
    """A transaction of another connection that has done `work` and waits to be ended."""

    def __init__(self, work: Callable[[], None]):
        self.work, self.is_done, self.may_end = work, Event(), Event()
        self.is_to_roll_back = False
        self.thread = Thread(target=self._run)

    def _run(self):
        try:
            with transaction.atomic():
                self.work()
                self.is_done.set()
                assert self.may_end.wait(PATIENCE_S)
                transaction.set_rollback(self.is_to_roll_back)
        finally:
            connection.close()

    def end(self, *, roll_back=False):
        self.is_to_roll_back = roll_back
        self.may_end.set()
        self.thread.join(PATIENCE_S)
        assert not self.thread.is_alive()


@contextmanager
def opened(work):
    other = Open(work)
    other.thread.start()
    try:
        assert other.is_done.wait(PATIENCE_S)
        yield other
    finally:
        other.end()


def test_what_is_committed_before_an_earlier_change_waits_for_it(client):
    earlier, later = uuid.uuid4(), uuid.uuid4()
    with opened(lambda: note(client, earlier)) as other:
        note(client, later)
        assert Change.objects.filter(record_uid=later).exists()
        before = read(client)
        assert (uids(before), before.upto, before.has_more) == ([], 0, False)
        other.end()
    assert uids(read(client, since=before.upto)) == [earlier, later]


def test_what_was_told_before_is_told_while_others_write(client):
    told = uuid.uuid4()
    note(client, told)
    with opened(lambda: note(client, uuid.uuid4())):
        assert uids(read(client)) == [told]


def test_a_transaction_rolled_back_holds_nothing_back(client):
    later = uuid.uuid4()
    with opened(lambda: note(client, uuid.uuid4())) as other:
        note(client, later)
        other.end(roll_back=True)
    assert uids(read(client)) == [later]


def test_an_open_transaction_that_changed_nothing_holds_nothing_back(client):
    later = uuid.uuid4()
    with opened(lambda: ClientFactory(coach=client.coach)):
        note(client, later)
        assert uids(read(client)) == [later]


def test_a_record_changed_again_while_others_write_comes_again_and_once(client):
    first, second = uuid.uuid4(), uuid.uuid4()
    note(client, first, second)
    mark = read(client).upto
    with opened(lambda: note(client, second)) as other:
        note(client, first)
        assert uids(read(client, since=mark)) == []
        other.end()
    assert sorted(uids(read(client, since=mark))) == sorted([first, second])
    assert Change.objects.filter(client=client).count() == 2


def test_of_two_who_change_one_record_the_second_waits_and_nothing_is_lost(client):
    shared = uuid.uuid4()
    note(client, shared)
    mark = read(client).upto
    with opened(lambda: note(client, shared)) as other, ThreadPoolExecutor(1) as pool:

        def again():
            try:
                note(client, shared)
            finally:
                connection.close()

        waiting = pool.submit(again)
        time.sleep(0.2)
        assert not waiting.done()
        other.end()
        waiting.result(PATIENCE_S)
    assert uids(read(client, since=mark)) == [shared]


def test_telling_a_client_anew_waits_as_a_change_does(client):
    told, later = uuid.uuid4(), uuid.uuid4()
    note(client, told)
    mark = read(client).upto
    with opened(lambda: tell_anew(client_ids=[client.id])) as other:
        note(client, later)
        assert uids(read(client, since=mark)) == []
        other.end()
    assert uids(read(client, since=mark)) == [told, later]


def test_a_reader_misses_nothing_of_six_who_write_at_once(client):
    rounds, writers = 25, 6
    written: list[list[uuid.UUID]] = [[] for _ in range(writers)]

    def write(number):
        chance = random.Random(number)
        try:
            for _ in range(rounds):
                fresh = [uuid.UUID(int=chance.getrandbits(128)) for _ in range(3)]
                with transaction.atomic():
                    for uid in fresh:
                        note(client, uid)
                        time.sleep(chance.random() / 200)
                written[number].extend(fresh)
        finally:
            connection.close()

    seen: list[uuid.UUID] = []
    mark = calls_with_news = 0
    with ThreadPoolExecutor(writers) as pool:
        work = [pool.submit(write, number) for number in range(writers)]
        are_done = False
        while not are_done:
            are_done = all(each.done() for each in work)
            page = read(client, since=mark, page_size=7)
            are_done &= not page.has_more
            calls_with_news += bool(page.items)
            seen.extend(uids(page))
            mark = page.upto
        for each in work:
            each.result()
    expected = [uid for some in written for uid in some]
    assert calls_with_news > 3
    assert len(expected) == rounds * writers * 3
    assert sorted(seen) == sorted(expected)


def test_a_post_and_a_night_of_one_client_wait_and_never_lock_each_other_out(cast):
    """Both come to scheduled sessions before alerts; the other way round one of them would be ended."""
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, knee_lift()).uid,
        starts_on=NOW.date(),
        override_reason="",
        now=NOW,
    )
    due = ScheduledSession.objects.get(due_on=NOW.date())
    logged = {"performed_at": NOW, "performed_on": NOW.date(), "received_at": NOW}
    Session.objects.create(
        practice=cast.practice, client=cast.client, scheduled_session=due, zone="Europe/Berlin", **logged
    )
    AlertFactory(client=cast.client)
    night = night_by_hand(practice=cast.practice, night_on=NOW.date(), now=NOW)

    def run():
        try:
            return run_night(night=night, now=NOW)[1]
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            note_what_follows_a_post(client=cast.client, from_on=NOW.date(), now=NOW)
            running = pool.submit(run)
            time.sleep(0.5)
            assert not running.done()
            assert len(Alert.objects.select_for_update().filter(client=cast.client)) == 1
        assert running.result(PATIENCE_S)
    assert set(NightClient.objects.values_list("attempts", flat=True)) == {1}
