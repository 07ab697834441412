"""Whatever fails once in a night, and wherever: it ends as a night in which nothing failed."""

from datetime import timedelta
from functools import partial

import pytest

from coaching.budget import Budget
from coaching.models import Client, Night, NightStatus, Practice
from coaching.operations import nights
from coaching.tick import tick
from tests.faults.nth.left import is_whole
from tests.faults.nth.loop import DONE, Story, Sweep, check_each
from tests.faults.nth.practice import NIGHT_AT, build_practice, post, session
from tests.faults.nth.seams import Action, Seam

pytestmark = pytest.mark.django_db(transaction=True)
TICK_EVERY_S = 30
RECOVERS_WITHIN_S = 1800
ASLEEP = timedelta(minutes=5)  # longer than the lease of a mail
UNHURRIED_S = 600.0  # a busy machine must not leave a part of the night to the next tick
CLAIM = nights.claim_chunk
EVERYTHING = [seam for seam in Seam if seam is not Seam.WRITE]
SEAMS_OF = {
    Action.RAISE: [seam for seam in EVERYTHING if seam is not Seam.COMMITTED],
    Action.CUT: [Seam.QUERY, Seam.COMMIT, Seam.COMMITTED],
    Action.KILL: EVERYTHING,
    Action.SLEEP: EVERYTHING,
}
ACTIONS = [
    pytest.param(action, marks=pytest.mark.postgresql if action is Action.CUT else []) for action in Action
]


def run_tick(at, chunk):
    nights.claim_chunk = partial(CLAIM, chunk=chunk)
    if at > NIGHT_AT:  # half a minute has gone by in the story, and not in the database
        nights.LOCKED_WITHIN = timedelta(0)
    tick(now=at, budget=Budget.of(UNHURRIED_S))


def told_by_ticks(name, chunk=20, **changes):
    """What one tick does, with the ticks that follow every half minute."""

    def recover(told, tell):
        for waited_s in range(0, RECOVERS_WITHIN_S, TICK_EVERY_S):
            if is_whole() and (waited_s or DONE in told):
                return waited_s
            run_tick(NIGHT_AT + timedelta(seconds=waited_s + TICK_EVERY_S), chunk)
        return None

    return Story(
        name=name,
        ends_at=NIGHT_AT + timedelta(hours=1),
        act=lambda tell: run_tick(NIGHT_AT, chunk),
        recover=recover,
        others=lambda position: run_tick(NIGHT_AT + ASLEEP, chunk),
        **changes,
    )


def build_outage():
    """Three nights are to be caught up: the last one that was done is three days old."""
    practice = build_practice(12)
    Night.objects.create(
        practice=practice,
        night_on=(NIGHT_AT - timedelta(days=3)).date(),
        zone=practice.zone,
        status=NightStatus.DONE,
        planned_at=NIGHT_AT - timedelta(days=3),
        finished_at=NIGHT_AT - timedelta(days=3),
    )


def build_late_posts():
    """Last night is done; then five clients' phones come back with what they did before it."""
    build_practice(12)
    before = NIGHT_AT - timedelta(hours=2)
    tick(now=before - timedelta(days=1), budget=Budget.of(UNHURRIED_S))
    for number, client in enumerate(Client.objects.order_by("id")[5:10], start=5):
        post(client, [session(number, days_ago=4, reps=6, pain=2)], at=before)
    Practice.objects.update(night_hour=12)  # the next night is not due yet


STORIES = {
    "night": (lambda: build_practice(60), told_by_ticks("night")),
    "three nights": (build_outage, told_by_ticks("three nights", chunk=5)),
    "mail in files": (
        lambda: build_practice(60),
        told_by_ticks("mail in files", email_backend="tests.faults.nth.far_side.Folder"),
    ),
    "late posts": (build_late_posts, told_by_ticks("late posts", chunk=5)),
}


def check(loop_on, name, sweeps, ledger):
    build, story = STORIES[name]
    loop = loop_on(name.replace(" ", "_"), build)
    check_each(loop.fail_each_nth(story, sweeps), sweeps, ledger)


@pytest.mark.faults
@pytest.mark.parametrize("action", ACTIONS)
def test_a_night_of_sixty_survives_each_fault_at_every_place(action, loop_on, ledger):
    check(loop_on, "night", [Sweep(seam, action) for seam in SEAMS_OF[action]], ledger)


@pytest.mark.faults
@pytest.mark.parametrize("action", ACTIONS)
def test_three_nights_to_catch_up_survive_each_fault(action, loop_on, ledger):
    sweeps = [Sweep(seam, action, step=3 if seam is Seam.QUERY else 1) for seam in SEAMS_OF[action]]
    check(loop_on, "three nights", sweeps, ledger)


@pytest.mark.faults
@pytest.mark.parametrize("action", ACTIONS)
def test_late_posts_are_scored_again_once_whatever_fails(action, loop_on, ledger):
    seams = [seam for seam in (Seam.QUERY, Seam.COMMIT, Seam.COMMITTED) if seam in SEAMS_OF[action]]
    check(loop_on, "late posts", [Sweep(seam, action) for seam in seams], ledger)


@pytest.mark.faults
@pytest.mark.parametrize("action", [Action.RAISE, Action.KILL])
def test_mail_in_files_survives_a_full_disk_at_every_write(action, loop_on, ledger):
    check(loop_on, "mail in files", [Sweep(Seam.WRITE, action)], ledger)


def test_a_night_survives_a_sample_of_all_faults(loop_on, ledger):
    sweeps = [
        Sweep(Seam.QUERY, Action.RAISE, step=83),
        Sweep(Seam.QUERY, Action.KILL, step=83),
        Sweep(Seam.QUERY, Action.SLEEP, step=83),
        Sweep(Seam.COMMITTED, Action.KILL, step=13),
        Sweep(Seam.SENT, Action.KILL, step=3),
        Sweep(Seam.PUBLISHED, Action.RAISE, step=3),
    ]
    check(loop_on, "night", sweeps, ledger)


@pytest.mark.postgresql
def test_a_night_survives_lost_connections_wherever_they_are_sampled(loop_on, ledger):
    sweeps = [Sweep(seam, Action.CUT, step) for seam, step in [(Seam.QUERY, 83), (Seam.COMMITTED, 13)]]
    check(loop_on, "night", sweeps, ledger)
