"""What must hold between rows: each rule is seen to fail where its rows were broken on purpose."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import models

from coaching import nightly
from coaching.models import JointDay, MailRow, Night, NightClient, Practice, Score, Session
from coaching.reads.invariants import rules

NIGHT_ON = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)


@pytest.fixture
def scored(cast, time_machine):
    time_machine.move_to(NOW, tick=False)
    night = nightly.night_by_hand(practice=cast.practice, night_on=NIGHT_ON, now=NOW)
    nightly.run_night(night=night, now=NOW)
    return cast


@pytest.fixture
def verify(json_of):
    def run(*words):
        said, code = json_of("verify", *words)
        return {each["rule"]: each["rows"] for each in said["broken"]}, said, code

    return run


def leave_a_client_to_do(cast):
    NightClient.objects.filter(client=cast.client).update(state="todo")


def count_one_too_few(cast):
    Night.objects.update(clients_scored=1)


def count_one_too_many(cast):
    Night.objects.update(clients_scored=3)


def lose_a_score(cast):
    Score.objects.filter(client=cast.client).delete()


def lose_a_turn(cast):
    NightClient.objects.filter(client=cast.client).delete()
    Night.objects.update(clients_scored=1)


def lose_the_sets(cast):
    Session.objects.create(
        practice=cast.practice,
        client=cast.client,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=NIGHT_ON,
        work_sets=3,
        content_hash="v1:any",
        received_at=NOW,
    )


def leave_a_mail(cast):
    MailRow.objects.create(
        practice=cast.practice,
        kind="morning",
        recipient="carl@harbour.example",
        key="any",
        created_at=NOW - timedelta(hours=25),
        next_at=NOW,
    )


def count_without_end(cast):
    JointDay.objects.create(
        practice=cast.practice,
        client=cast.client,
        day_on=NIGHT_ON,
        joint="knee",
        side="left",
        joint_reps=float("inf"),
    )


def give_away_a_turn(cast):
    NightClient.objects.filter(client=cast.client).update(client=cast.strangers_client)


BREAKING = [
    (leave_a_client_to_do, "A night that is done has no client left to do."),
    (count_one_too_few, "A night that is done has counted just the clients that it lists."),
    (count_one_too_many, "A night that is done has counted just the clients that it lists."),
    (lose_a_score, "Each client whom a night has scored has that score."),
    (lose_a_turn, "Each score is of a client whom a night has listed."),
    (lose_the_sets, "A session has work sets if, and only if, it counts some."),
    (leave_a_mail, "No mail waits for longer than a day."),
    (count_without_end, "Each number of each joint day is finite."),
    (give_away_a_turn, "Each night client's client is of its own practice."),
]


def test_where_all_is_well_every_rule_of_every_practice_holds(scored, verify):
    broken, said, code = verify()
    assert (broken, code, said["constraints_missing"]) == ({}, 0, [])
    assert said["rules_looked_at"] == (len(rules()) + 1) * Practice.objects.count()


@pytest.mark.parametrize(("break_it", "rule"), BREAKING, ids=lambda part: getattr(part, "__name__", ""))
def test_what_is_broken_is_named(scored, verify, break_it, rule):
    break_it(scored)
    broken, _, code = verify()
    assert code == 1
    assert broken[rule] == 1


def test_a_roll_up_that_its_rows_do_not_bear_out_is_named(scored, verify):
    JointDay.objects.create(
        practice=scored.practice,
        client=scored.client,
        day_on=NIGHT_ON,
        joint="knee",
        side="left",
        joint_reps=30,
    )
    broken, _, code = verify()
    assert (code, list(broken.values())) == (1, [1])


def test_another_practice_is_left_alone(scored, verify):
    leave_a_client_to_do(scored)
    broken, _, code = verify("--practice", str(scored.stranger.practice.uid))
    assert (broken, code) == ({}, 0)


def test_a_constraint_that_the_database_lacks_is_named(scored, verify, monkeypatch):
    promised = models.UniqueConstraint(fields=["client", "night_on"], name="score_once_a_night")
    monkeypatch.setattr(Score._meta, "constraints", [*Score._meta.constraints, promised])
    _, said, code = verify()
    assert (code, said["constraints_missing"]) == (1, ["score_once_a_night"])
