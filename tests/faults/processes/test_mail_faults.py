"""A mail server that refuses, hangs and answers half-way while the sender is killed: late, never lost."""

import random
import time

import pytest

from tests.faults.processes.mail_server import MailFault

pytestmark = [pytest.mark.servers, pytest.mark.faults]

COACHES = 150
KILLS = 10
# Three of them have no mailbox.
MORE_COACHES = """
    WITH made AS (
        INSERT INTO coaching_account (id, password, is_active, email, name, created_at)
        SELECT gen_random_uuid(), '!', true,
               CASE WHEN n <= 3 THEN 'nobody' ELSE 'more' END || n || '@example.org', 'Coach ' || n, now()
        FROM generate_series(1, %s) AS n RETURNING id
    )
    INSERT INTO coaching_membership ({columns}) SELECT {values} FROM made RETURNING id
"""


def add_coaches(night):
    """Copies of a coach under other addresses; without clients, yet with a morning mail."""
    (names,) = night.rows(
        "SELECT array_agg(column_name::text) FROM information_schema.columns "
        "WHERE table_name = 'coaching_membership' AND column_name NOT IN ('id', 'uid', 'account_id')"
    )[0]
    like = "(SELECT {} FROM coaching_membership WHERE role = 'coach' ORDER BY id LIMIT 1)"
    columns = ["uid", "account_id", *names]
    values = ["gen_random_uuid()", "id", *(like.format(name) for name in names)]
    night.rows(MORE_COACHES.format(columns=", ".join(columns), values=", ".join(values)), COACHES)


def test_no_mail_is_lost_and_repeats_are_ambiguous_answers_and_kills(bench, ledger):
    chance = random.Random(8)
    with bench.round() as night:
        add_coaches(night)
        night.mail.share = 0.3
        night.start(has_devices=False)
        night.wait_until_done()
        for _ in range(KILLS):
            time.sleep(chance.uniform(0.5, 4.0))
            night.strike("kill -9 worker while it sends", lambda: night.service.kill("worker"))
        night.settle(ledger, recovered=lambda strike: None, mail_within_s=600)
        taken = night.mail.taken
        for fault, times in night.mail.met.items():
            ledger.note(f"mail server {fault.value}", times=times)
        assert set(night.mail.met) == set(MailFault)
        states = night.rows(
            "SELECT state, recipient LIKE 'nobody%%', count(*) FROM coaching_mailrow "
            "WHERE kind = 'morning' GROUP BY 1, 2 ORDER BY 1"
        )
        assert states == [("dead", True, 3), ("sent", False, COACHES - 3 + len(night.world.coaches))]
        assert max(taken.copies.values()) <= 5
