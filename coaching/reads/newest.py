"""Of one client the newest of everything that an answer is made from: other answers have another mark."""

from datetime import date
from typing import Any

from django.db.models import Count, Max, Sum, Value

from coaching.models import Change, Exercise, JointDay, LiftDay, Score
from coaching.reads.settled import settled_place

Mark = tuple[Any, ...]


def mark_of_records(client_id: int) -> Mark | None:
    """What the feed of changes tells of this client's records; None while a change may still be on its way.

    To be read before the records are: what comes meanwhile then makes another mark. The instant is there for
    databases that were put back from a backup, where the same number can come twice.
    """
    settled = settled_place()
    newest = Change.objects.filter(client=client_id).order_by("-id").values_list("id", "at").first()
    if newest is None:
        return ()
    return newest if newest[0] <= settled else None


def mark_of_history(client_id: int, practice_id: int, until_on: date) -> Mark | None:
    """The same with what no feed tells: days made anew by other joint stress, scores, exercises.

    A day that is made anew has new keys, above all that were there before; one that is only taken away
    leaves fewer. The sums are a second look at the same.
    """
    records = mark_of_records(client_id)
    if records is None:
        return None
    days = _days_of(JointDay, client_id, "joint_reps", "joint_load_kg").union(
        _days_of(LiftDay, client_id, "e1rm_kg", "volume_load_kg"), all=True
    )
    scores = Score.objects.filter(client=client_id, night_on__lte=until_on)
    return (
        records,
        tuple(sorted(days)),
        scores.order_by("-night_on", "-revision").values_list("id", "scored_at").first(),
        tuple(Exercise.objects.known_to(practice_id).order_by("id").values_list()),
    )


def _days_of(days: type[JointDay | LiftDay], client_id: int, one: str, other: str) -> Any:
    """How many there are, the newest key, and two sums; told apart by their table."""
    rows: Any = days.objects.filter(client=client_id).values(table=Value(days.__name__))
    made = rows.annotate(n=Count("id"), newest=Max("id"), one=Sum(one), other=Sum(other))
    return made.values_list("table", "n", "newest", "one", "other")
