"""When alerts about a target opened, as histories and pictures show them."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from coaching.models import Alert


@dataclass(frozen=True, slots=True)
class AlertOpening:
    opened_on: date
    kind: str


def alert_openings(
    client_ids: Collection[int],
    targets: Collection[str],
    kinds: Collection[str],
    first_on: date,
    until_on: date,
) -> Mapping[tuple[int, str], list[AlertOpening]]:
    """Those of each client and target, oldest first, in one query.

    They count until the day after `until_on`, since the night that has seen a day opens them on the next.
    """
    rows = Alert.objects.filter(
        client_id__in=client_ids,
        target__in=targets,
        kind__in=kinds,
        opened_on__range=(first_on, until_on + timedelta(days=1)),
    ).order_by("opened_on", "id")
    columns = ("client_id", "target", "opened_on", "kind")
    found: defaultdict[tuple[int, str], list[AlertOpening]] = defaultdict(list)
    for client_id, target, opened_on, kind in rows.values_list(*columns):
        found[client_id, target].append(AlertOpening(opened_on, kind))
    return found
