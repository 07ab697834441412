from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection

from coaching.models import MailKind, MailRow, MailState
from coaching.operations.mail import claim_due, enqueue_mail
from coaching.operations.outbox_rows import BACK_OFF, LEASE, MAX_ATTEMPTS, Failure, mark_failed, mark_sent
from tests.factories import NOW, PracticeFactory


@pytest.fixture
def practice(db):
    return PracticeFactory()


def enqueue(practice, key="morning:1", kind=MailKind.MORNING, now=NOW):
    enqueue_mail(
        practice_id=practice.id,
        kind=kind,
        recipient="coach@example.org",
        key=key,
        payload={"membership": 1, "on": "2026-03-02"},
        now=now,
    )


def claimed(now=NOW):
    (row,) = claim_due(now=now, limit=1)
    return row


def test_a_new_mail_waits_and_is_due_at_once(practice):
    enqueue(practice)
    row = MailRow.objects.get()
    assert (row.state, row.attempts, row.next_at) == (MailState.WAITING, 0, NOW)


def test_saying_it_twice_is_one_mail(practice):
    enqueue(practice)
    enqueue(practice)
    assert MailRow.objects.count() == 1


def test_saying_a_sent_mail_again_does_not_send_it_again(practice):
    enqueue(practice)
    mark_sent(row=claimed(), now=NOW)
    enqueue(practice)
    assert MailRow.objects.get().state == MailState.SENT


def test_the_attempt_is_counted_before_anything_is_sent(practice):
    enqueue(practice)
    row = claimed()
    stored = MailRow.objects.get()
    assert stored.attempts == row.attempts == 1


def test_a_claimed_mail_is_not_claimed_again_within_the_lease(practice):
    enqueue(practice)
    claimed()
    assert claim_due(now=NOW + LEASE - timedelta(seconds=1), limit=9) == []


def test_a_mail_whose_sender_died_falls_due_when_the_lease_has_run_out(practice):
    enqueue(practice)
    claimed()
    assert claimed(NOW + LEASE).attempts == 2


def test_urgent_mail_goes_before_older_mail(practice):
    enqueue(practice, key="old", now=NOW - timedelta(hours=1))
    enqueue(practice, key="urgent", kind=MailKind.URGENT)
    assert [row.key for row in claim_due(now=NOW, limit=9)] == ["urgent", "old"]


def test_no_more_than_the_limit_is_claimed(practice):
    for number in range(3):
        enqueue(practice, key=str(number))
    assert len(claim_due(now=NOW, limit=2)) == 2


def test_claiming_takes_the_same_queries_for_one_mail_as_for_many(practice, django_assert_num_queries):
    for number in range(5):
        enqueue(practice, key=str(number))
    with django_assert_num_queries(5):  # savepoint, two updates and a select, savepoint
        claim_due(now=NOW, limit=5)


def test_a_sent_mail_keeps_when(practice):
    enqueue(practice)
    mark_sent(row=claimed(), now=NOW)
    row = MailRow.objects.get()
    assert (row.state, row.sent_at) == (MailState.SENT, NOW)


@pytest.mark.parametrize(("attempt", "delay"), list(enumerate(BACK_OFF, start=1)))
def test_a_temporary_failure_waits_longer_each_time(practice, attempt, delay):
    enqueue(practice)
    MailRow.objects.update(attempts=attempt - 1)
    mark_failed(row=claimed(), failure=Failure.TEMPORARY, code="recipient_451", now=NOW)
    wait = MailRow.objects.get().next_at - NOW
    assert delay <= wait < delay * 1.1


def test_a_temporary_failure_keeps_its_code(practice):
    enqueue(practice)
    mark_failed(row=claimed(), failure=Failure.TEMPORARY, code="recipient_451", now=NOW)
    assert MailRow.objects.get().error_code == "recipient_451"


def test_a_mail_is_given_up_after_two_days(practice):
    enqueue(practice)
    late = NOW + timedelta(hours=47, minutes=59, seconds=30)
    mark_failed(row=claimed(late), failure=Failure.TEMPORARY, code="recipient_451", now=late)
    assert MailRow.objects.get().state == MailState.DEAD


def test_a_mail_is_not_given_up_while_the_next_attempt_lies_within_two_days(practice):
    enqueue(practice)
    late = NOW + timedelta(hours=47)
    mark_failed(row=claimed(late), failure=Failure.TEMPORARY, code="recipient_451", now=late)
    assert MailRow.objects.get().state == MailState.WAITING


def test_a_permanent_failure_is_given_up_at_once(practice):
    enqueue(practice)
    state = mark_failed(row=claimed(), failure=Failure.PERMANENT, code="recipient_550", now=NOW)
    assert state == MailRow.objects.get().state == MailState.DEAD


def test_a_refusing_mail_server_costs_the_mail_no_attempt(practice):
    enqueue(practice)
    mark_failed(row=claimed(), failure=Failure.NOT_ITS_FAULT, code="SMTPSenderRefused_550", now=NOW)
    row = MailRow.objects.get()
    assert (row.attempts, row.state, row.next_at) == (0, MailState.WAITING, NOW + BACK_OFF[0])


def test_a_mail_that_kills_its_sender_is_set_aside_in_the_end(practice):
    enqueue(practice)
    MailRow.objects.update(attempts=MAX_ATTEMPTS)
    assert claim_due(now=NOW, limit=1) == []
    assert MailRow.objects.get().error_code == "gave_up"


def test_a_failure_reported_late_does_not_unsend_a_mail(practice):
    enqueue(practice)
    row = claimed()
    mark_sent(row=row, now=NOW)
    mark_failed(row=row, failure=Failure.TEMPORARY, code="late", now=NOW)
    assert MailRow.objects.get().state == MailState.SENT


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_claims_at_once_never_take_the_same_mail():
    practice = PracticeFactory()
    for number in range(20):
        enqueue(practice, key=str(number))

    def claim_all(_):
        try:
            return [row.id for _ in range(20) for row in claim_due(now=NOW, limit=1)]
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(claim_all, range(2))
    assert sorted(first + second) == sorted(MailRow.objects.values_list("id", flat=True))
