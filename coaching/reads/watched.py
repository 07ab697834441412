"""The clients a coach answers for on a day, with all that a morning sheet needs of each, in one query."""

import uuid
from collections.abc import Collection
from datetime import date, datetime
from typing import Any, NamedTuple

from django.db.models import Case, Exists, OuterRef, Q, Subquery, When

from coaching.models import Change, Client, Consent, ConsentPurpose, JointDay, Membership, Score


class WatchedClient(NamedTuple):
    """What a sheet says of a client itself, and the newest of what it is made from.

    `stopped_at` is when the consent to health data was withdrawn, if none was given since
    (`ClientQuerySet.stopped`).

    Whenever anything of this client changes that a sheet could show, one of these fields differs: what no
    field holds is of a score, or of a record that the feed of changes tells about.
    """

    id: int
    uid: uuid.UUID
    name: str
    audit_key: uuid.UUID
    coach_name: str
    emergency_text: str
    stopped_at: datetime | None
    first_on: date | None
    score_id: int | None
    change_id: int | None
    changed_at: datetime | None


def clients_watched_by(
    membership: Membership, on: date, within: Collection[int] | None = None
) -> tuple[WatchedClient, ...]:
    """Own clients, and those of colleagues whom this coach covers on `on`, by name.

    `within`: the only clients that whoever asks may see, where these are not all of the coach's.
    """
    rows = Client.objects.filter(
        Q(coach=membership) | _of_the_absent(membership, on),
        practice_id=membership.practice_id,
        archived_at__isnull=True,
    )
    found = rows.annotate(**_newest(on)).order_by("name", "id").values_list(*COLUMNS)
    watched = (WatchedClient(*row) for row in found)
    return tuple(client for client in watched if within is None or client.id in within)


def _of_the_absent(membership: Membership, on: date) -> Q:
    """`Membership.is_away`, asked of colleagues: an absence without an end goes on."""
    is_away = Q(coach__away_until_on__isnull=True) | Q(coach__away_until_on__gte=on)
    return is_away & Q(coach__cover=membership, coach__left_at__isnull=True, coach__away_from_on__lte=on)


COLUMNS = (
    "id", "uid", "name", "audit_key", "coach__account__name", "emergency_text", "stopped_at", "first_on",
    "score_id", "change_id", "changed_at",
)  # fmt: skip


def _newest(on: date) -> dict[str, Any]:
    """Each found by the index of its client, so that nothing is read of what came before."""
    consents = Consent.objects.filter(client=OuterRef("pk"), purpose=ConsentPurpose.HEALTH_DATA)
    withdrawn = consents.filter(withdrawn_at__isnull=False).order_by("-withdrawn_at")
    days = JointDay.objects.filter(client=OuterRef("pk")).order_by("day_on")
    scores = Score.objects.filter(client=OuterRef("pk"), night_on__lte=on).order_by("-night_on", "-revision")
    changes = Change.objects.filter(client=OuterRef("pk")).order_by("-id")
    return {
        "has_consent": Exists(consents.filter(withdrawn_at__isnull=True)),
        # Looked up for hardly anybody.
        "stopped_at": Case(
            When(has_consent=False, then=Subquery(withdrawn.values("withdrawn_at")[:1])), default=None
        ),
        "first_on": Subquery(days.values("day_on")[:1]),
        "score_id": Subquery(scores.values("id")[:1]),
        "change_id": Subquery(changes.values("id")[:1]),
        "changed_at": Subquery(changes.values("at")[:1]),
    }
