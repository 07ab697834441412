"""A practice for a night: some clients whose pain climbs, whose lift stands, who reported a red flag."""

import uuid
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from coaching.models import Actor, Client, Membership, Practice, Role
from coaching.models.scope import within_practice
from coaching.operations.entries import PainEntry, SessionEntry, SetEntry
from coaching.operations.sessions import record_batch
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    MembershipFactory,
    PracticeFactory,
    WebhookFactory,
)

NIGHT_AT = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)  # the night hour of Berlin has come
NAMES = uuid.UUID("0f4c9a52-6f0e-4d83-9d53-0c3c1a6f1d11")
CLIMBING_PAIN = [1] * 14 + [1, 2, 2, 2, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5]
CLIMBING_REPS = [8] * 14 + [8, 9, 9, 10, 10, 11, 11, 12, 12, 13, 13, 14, 14, 15]
# One in each third of a night of sixty, so that each chunk has something to tell.
PAIN_CLIMBS, LIFT_STANDS, RED_FLAG = 1, 21, 41


def build_practice(n_clients: int) -> Practice:
    """Two coaches with mail, an owner who is reminded, a webhook, and clients who posted what they did."""
    practice = PracticeFactory(name="Harbour Strength")
    MembershipFactory(practice=practice, role="owner", account__name="Olga Owner")
    coaches = [MembershipFactory(practice=practice) for _ in range(2)]
    WebhookFactory(practice=practice)
    for number in range(n_clients):
        client = ClientFactory(coach=coaches[number % 2])
        ConsentFactory(client=client)
        with within_practice(practice.id):
            post(client, _past_of(number), at=NIGHT_AT - timedelta(hours=7))
    return practice


def post(client: Client, entries: Sequence[SessionEntry], *, at: datetime) -> None:
    actor = Actor(client.account_id, None, client.practice_id, Role.CLIENT, client_id=client.id)
    items = record_batch(actor=actor, client=client, entries=entries, now=at)
    assert all(item.error is None for item in items), items


def coaches_of(practice: Practice) -> list[Membership]:
    return list(Membership.objects.filter(practice=practice, role=Role.COACH).order_by("id"))


def _past_of(number: int) -> list[SessionEntry]:
    if number == PAIN_CLIMBS:
        pairs = zip(reversed(CLIMBING_PAIN), reversed(CLIMBING_REPS), strict=True)
        return [
            session(number, days_ago=2 * back + 1, reps=reps, pain=pain)
            for back, (pain, reps) in enumerate(pairs)
        ]
    if number == LIFT_STANDS:
        return [session(number, days_ago=3 * back + 1, reps=5, pain=0) for back in range(20)]
    if number == RED_FLAG:
        return [session(number, days_ago=1, reps=5, pain=3, symptoms={"swollen_calf": "yes"})]
    return [session(number, days_ago=back, reps=5, pain=1) for back in (3, 1)]


def session(
    number: int, *, days_ago: int, reps: int, pain: int, symptoms: dict[str, str] | None = None
) -> SessionEntry:
    at = NIGHT_AT - timedelta(days=days_ago, hours=-14)
    return SessionEntry(
        uid=_id(number, days_ago, "session"),
        performed_at=at,
        ended_at=at + timedelta(minutes=40),
        session_rpe=7.0,
        note="",
        scheduled_session_uid=None,
        sets=(_set(_id(number, days_ago, "set"), reps),),
        pain_reports=(
            PainEntry(
                uid=_id(number, days_ago, "report"),
                joint="knee",
                side="left",
                other_site="",
                moment="during",
                pain=pain,
                symptoms=symptoms or {},
                note="",
                reported_at=at + timedelta(minutes=40),
            ),
        ),
    )


def _id(number: int, days_ago: int, what: str) -> uuid.UUID:
    return uuid.uuid5(NAMES, f"{number}:{days_ago}:{what}")


def _set(uid: uuid.UUID, reps: int) -> SetEntry:
    return SetEntry(
        uid=uid,
        exercise_code="back_squat",
        kind="work",
        side="both",
        load_thousandths=100_000,
        load_unit="kg",
        reps=reps,
        duration_s=None,
        rir=2.0,
        ended_by="target",
        tempo="",
        rest_s=None,
        follows_previous=False,
        prescription_uid=None,
    )
