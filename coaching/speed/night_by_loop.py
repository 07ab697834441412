"""The obvious way to score a night: client by client, with pandas and scipy; prints the seconds it took.

It judges the same series by common rules of thumb (a slope by Theil and Sen, a trend by Kendall, shares of
the calendar), and saves a score for each client, all through the ORM.
"""

import argparse
import os
import sys
import time
from datetime import date, timedelta
from typing import Any


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, required=True)
    parser.add_argument("--on", type=date.fromisoformat, required=True)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from coaching.models import Client, Score
    from coaching.models.scope import across_practices

    with across_practices("a bench scores clients of all practices"):
        clients = list(Client.objects.order_by("id")[: asked.clients])
        began = time.monotonic()
        for client in clients:
            _score(client, asked.on)
        took_s = time.monotonic() - began
        Score.objects.filter(method="loop").delete()
    sys.stdout.write(f"{took_s:.6f}\n")


def _score(client: Any, on: date) -> None:
    from django.utils import timezone

    from coaching.models import Score

    first_on, last_on = on - timedelta(days=112), on - timedelta(days=1)
    adherence = _adherence(client, last_on)
    Score.objects.create(
        practice_id=client.practice_id,
        client=client,
        night_on=on,
        revision=99,
        adherence_low=adherence,
        adherence_high=adherence,
        details={
            "sites": _sites(client, first_on, last_on),
            "lifts": _lifts(client, first_on, last_on),
        },
        method="loop",
        scored_at=timezone.now(),
    )


def _sites(client: Any, first_on: date, last_on: date) -> list[dict[str, Any]]:
    """Of each site, whether its pain climbs and by how much, and whether its volume does."""
    import pandas as pd
    from scipy import stats

    from coaching.models import JointDay

    rows = JointDay.objects.filter(client=client, day_on__range=(first_on, last_on))
    frame = pd.DataFrame.from_records(rows.values("joint", "side", "day_on", "joint_reps", "pain"))
    found = []
    for (joint, side), site in frame.groupby(["joint", "side"]) if len(frame) else []:
        days = site.set_index(pd.to_datetime(site["day_on"])).sort_index()
        volume = days["joint_reps"].resample("D").sum().rolling(7, min_periods=1).sum()
        pain = pd.to_numeric(days["pain"]).dropna()
        entry: dict[str, Any] = {"site": f"{joint}:{side}", "volume_change": float(volume.diff(28).iloc[-1])}
        if len(pain) >= 10:
            at = (pain.index - pain.index[0]).days.to_numpy(float)
            tau = stats.kendalltau(at, pain.to_numpy(float))
            slope = stats.theilslopes(pain.ewm(span=7).mean().to_numpy(), at)
            entry |= {"p": float(tau.pvalue), "slope_per_week": 7 * float(slope.slope)}
        found.append({key: None if value != value else value for key, value in entry.items()})
    return found


def _lifts(client: Any, first_on: date, last_on: date) -> list[dict[str, Any]]:
    """Of each lift, how its e1RM moves."""
    import pandas as pd
    from scipy import stats

    from coaching.models import LiftDay

    rows = LiftDay.objects.filter(client=client, day_on__range=(first_on, last_on), e1rm_kg__isnull=False)
    frame = pd.DataFrame.from_records(rows.values("exercise__code", "side", "track", "day_on", "e1rm_kg"))
    found = []
    keys = ["exercise__code", "side", "track"]
    for key, lift in frame.groupby(keys) if len(frame) else []:
        at = pd.to_datetime(lift["day_on"]).map(pd.Timestamp.toordinal).to_numpy(float)
        if len(at) < 6:
            continue
        slope = stats.theilslopes(lift["e1rm_kg"].to_numpy(float), at, alpha=0.98)
        found.append(
            {
                "lift": ":".join(key),
                "slope_per_week": 7 * float(slope.slope),
                "low": 7 * float(slope.low_slope),
                "high": 7 * float(slope.high_slope),
            }
        )
    return found


def _adherence(client: Any, last_on: date) -> float | None:
    """Sets done of sets prescribed in the last four weeks, from the sets themselves."""
    import pandas as pd

    from coaching.models import LoggedSet, ScheduledSession

    due = ScheduledSession.objects.filter(
        client=client, due_on__range=(last_on - timedelta(days=27), last_on)
    )
    asked = pd.DataFrame.from_records(due.values("id", "prescribed_sets"))
    if not len(asked):
        return None
    sets = LoggedSet.objects.filter(session__scheduled_session__in=due, kind="work")
    done = pd.DataFrame.from_records(sets.values("session__scheduled_session", "load_thousandths", "reps"))
    if not len(done):
        return 0.0
    counts = done.groupby("session__scheduled_session").size().rename("done")
    both = asked.merge(counts, left_on="id", right_index=True, how="left").fillna({"done": 0})
    return float((both["done"] / both["prescribed_sets"]).clip(upper=1).mean())


if __name__ == "__main__":
    main()
