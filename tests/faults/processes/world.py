"""The practice that the faults strike: `python -m tests.faults.processes.world`, on the database that is set.

Prints what the bench must know of it as JSON. Dates are counted back from today; everything is invented.
"""

import argparse
import json
import os
import sys
import uuid
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")

COACHES = 5
FLARES_EVERY = 25  # each so many clients one whose pain climbs with its volume
FLARE_PAIN = [2] * 26 + [2, 3, 3, 3, 4, 4, 4, 5, 5, 5, 5, 5, 5, 5]
FLARE_REPS = [30] * 26 + [32, 34, 36, 38, 40, 42, 44, 46, 48, 50, 52, 54, 56, 58]
QUIET_PAIN, QUIET_REPS = [2, 2, 2], [30, 30, 30]


def zone_of_the_morning(utc_hour: int) -> str:
    """A zone in which it is about six, so that no midnight falls into a run of the bench."""
    ahead = (6 - utc_hour + 12) % 24 - 12
    return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"


ZONE = zone_of_the_morning(datetime.now(ZoneInfo("UTC")).hour)


def now() -> datetime:
    return datetime.now(ZoneInfo(ZONE))


def make(clients: int, devices: int, nights: int) -> dict[str, Any]:
    """The service was away for all of the nights but the last, which is due as well."""
    from coaching.models import Night
    from coaching.models.scope import across_practices
    from tests.factories import MembershipFactory, PracticeFactory

    with across_practices("a bench makes its practice"):
        practice = PracticeFactory(name="Breakwater Strength", zone=ZONE, night_hour=0)
        coaches = [
            MembershipFactory(practice=practice, account__email=f"coach{number}@example.org")
            for number in range(COACHES)
        ]
        tokens = [_client(number, coaches[number % COACHES], number < devices) for number in range(clients)]
        last_on = now().date() - timedelta(days=nights)
        Night.objects.create(
            practice=practice, night_on=last_on, zone=ZONE, status="done", planned_at=now(), finished_at=now()
        )
        return {
            "clients": clients,
            "nights": nights,
            "tokens": [token for token in tokens if token],
            "coaches": [coach.account.email for coach in coaches],
        }


def _client(number: int, coach: Any, has_device: bool) -> str:
    from coaching.operations.sessions import record_batch
    from tests.conftest import token_for
    from tests.factories import ClientFactory, ConsentFactory
    from tests.plan_builders import actor_of

    client = ClientFactory(coach=coach, zone=ZONE, **({} if has_device else {"account": None}))
    ConsentFactory(client=client)
    is_flaring = number % FLARES_EVERY == FLARES_EVERY - 1
    pain, reps = (FLARE_PAIN, FLARE_REPS) if is_flaring else (QUIET_PAIN, QUIET_REPS)
    entries = [_entry(len(pain) - index, *day) for index, day in enumerate(zip(pain, reps, strict=True))]
    record_batch(actor=actor_of(coach), client=client, entries=entries, now=now())
    return token_for(client) if has_device else ""


def _entry(training_days_ago: int, pain: int, reps: int) -> Any:
    from api.sessions import SessionInBatch, session_entry

    day = now().date() - timedelta(days=2 * training_days_ago - 1)
    at = datetime.combine(day, time(18), tzinfo=ZoneInfo(ZONE))
    body = SessionInBatch(data=session_at(at, pain=pain, reps=reps, sets=2) | {"id": str(uuid.uuid4())})
    body.is_valid(raise_exception=True)
    return session_entry(body.validated_data, body.validated_data["id"])


def session_at(at: datetime, *, pain: int, reps: int, sets: int) -> dict[str, Any]:
    """A body as a client app sends it: sets of squats that come to `reps`, and what the knee said."""
    each, rest = divmod(reps, sets)
    return {
        "performed_at": at.isoformat(),
        "sets": [
            {
                "id": str(uuid.uuid4()),
                "exercise": "back_squat",
                "load": 60,
                "reps": each + (rest if number == 0 else 0),
                "rir": 2,
            }
            for number in range(sets)
        ],
        "pain_reports": [
            {
                "id": str(uuid.uuid4()),
                "joint": "knee",
                "side": "left",
                "moment": moment,
                "pain": pain,
                "reported_at": at.isoformat(),
            }
            for moment in ("during", "after")
        ],
    }


def main() -> None:
    import django

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=500)
    parser.add_argument("--devices", type=int, default=8)
    parser.add_argument("--nights", type=int, default=1)
    asked = parser.parse_args()
    django.setup()
    sys.stdout.write(json.dumps(make(asked.clients, asked.devices, asked.nights)) + "\n")


if __name__ == "__main__":
    main()
