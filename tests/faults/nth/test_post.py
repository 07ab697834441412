"""Whatever fails once while a phone empties its queue: at the end there is what it sent, once and whole."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.models import Client
from tests.conftest import token_for
from tests.factories import ClientFactory, ConsentFactory
from tests.faults.nth.device import COMES_AGAIN_AFTER_S, POSTED_AT, Device, clock, queue
from tests.faults.nth.left import is_whole
from tests.faults.nth.loop import DONE, Story, Sweep, check_each
from tests.faults.nth.seams import Action, Seam

pytestmark = pytest.mark.django_db(transaction=True)
SEAMS = [Seam.QUERY, Seam.COMMIT, Seam.COMMITTED]


def build_client():
    """A client with a token that the device finds in a file beside the folders of the runs."""
    client = ClientFactory()
    ConsentFactory(client=client)
    with clock():
        (Path(settings.VAR_DIR) / "token").write_text(token_for(client))
    assert Client.objects.count() == 1


def recover(told, tell):
    """The phone goes on with what was not acknowledged; then the mail that must leave at once does."""
    repeats = told.count("to be repeated")
    if DONE not in told:
        repeats += 1
        Device().send_all(tell, since=told.count("acknowledged"))
    send_due_mail(now=POSTED_AT, budget=Budget.of(60))
    return repeats * COMES_AGAIN_AFTER_S if is_whole() else None


STORY = Story(
    name="posts",
    ends_at=POSTED_AT + timedelta(hours=1),
    act=lambda tell: Device().send_all(tell),
    recover=recover,
    others=lambda position: Device().send(queue()[position]),
    position=lambda: Device.at,
)


def check(loop_on, sweeps, ledger):
    loop = loop_on("posts", build_client)
    check_each(loop.fail_each_nth(STORY, sweeps), sweeps, ledger)


@pytest.mark.faults
@pytest.mark.parametrize("action", [Action.RAISE, Action.KILL, Action.SLEEP])
def test_posts_survive_each_fault_at_every_place(action, loop_on, ledger):
    sweeps = [Sweep(seam, action) for seam in SEAMS if (action, seam) != (Action.RAISE, Seam.COMMITTED)]
    check(loop_on, sweeps, ledger)


@pytest.mark.faults
@pytest.mark.postgresql
def test_posts_survive_a_lost_connection_at_every_place(loop_on, ledger):
    sweeps = [Sweep(seam, Action.CUT) for seam in SEAMS]
    check(loop_on, sweeps, ledger)


def test_posts_survive_a_sample_of_all_faults(loop_on, ledger):
    sweeps = [
        Sweep(Seam.QUERY, Action.RAISE, step=31),
        Sweep(Seam.QUERY, Action.KILL, step=31),
        Sweep(Seam.QUERY, Action.SLEEP, step=31),
        Sweep(Seam.COMMITTED, Action.KILL),
    ]
    check(loop_on, sweeps, ledger)


@pytest.mark.postgresql
def test_posts_survive_lost_connections_wherever_they_are_sampled(loop_on, ledger):
    sweeps = [Sweep(Seam.QUERY, Action.CUT, step=31), Sweep(Seam.COMMITTED, Action.CUT)]
    check(loop_on, sweeps, ledger)
