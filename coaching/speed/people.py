"""Devices for people of the bench's practice: `python -m coaching.speed.people`, printed as JSON."""

import argparse
import json
import os
import sys
import uuid
from typing import Any


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for name in ("posters", "readers"):
        parser.add_argument(f"--{name}", type=int, required=True)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from coaching.models.scope import across_practices

    with across_practices("a bench gives devices to its people"):
        people = devices_of_people(posters=asked.posters, readers=asked.readers)
    sys.stdout.write(json.dumps(people, default=str))


def devices_of_people(*, posters: int, readers: int) -> list[dict[str, Any]]:
    """So many of each, in the first practice there is, which is made where there is none."""
    return [*_posters(posters), *_readers(readers)]


def _coach() -> Any:
    from django.utils import timezone

    from coaching.models import Membership, Practice, Role

    coach = Membership.objects.order_by("id").select_related("practice", "account").first()
    if coach is not None:
        return coach
    practice = Practice.objects.create(
        name="Millrace Strength", created_at=timezone.now(), zone="Europe/Berlin", country="DE",
        emergency_text="112",
    )  # fmt: skip
    return Membership.objects.create(
        practice=practice, account=_account(), role=Role.OWNER, joined_at=timezone.now()
    )


def _account() -> Any:
    from django.utils import timezone

    from coaching.models import Account

    email = f"{uuid.uuid4()}@example.org"
    return Account.objects.create(email=email, name="Ada Quill", created_at=timezone.now())


def _posters(count: int) -> list[dict[str, Any]]:
    """Clients who have just joined, so that no day of theirs has a session yet."""
    from django.utils import timezone

    from coaching.models import Client, Consent, DeviceToken

    coach, now, found = _coach(), timezone.now(), []
    ours = {"practice": coach.practice}
    for _ in range(count):
        client = Client.objects.create(
            **ours, coach=coach, account=_account(), name="Ada Quill", created_at=now,
            zone=coach.practice.zone, country=coach.practice.country, emergency_text="112",
        )  # fmt: skip
        Consent.objects.create(
            **ours, client=client, purpose="health_data", text_version="2026-01", given_at=now
        )
        device, token = DeviceToken.objects.create(
            **ours, user=client.account, client=client, device_name="bench"
        )
        found.append(
            {
                "role": "poster",
                "token": token,
                "practice_id": client.practice_id,
                "client_id": client.id,
                "account_id": client.account_id,
                "device_id": device.uid,
                "subject_key": client.audit_key,
            }
        )
    return found


def _readers(count: int) -> list[dict[str, Any]]:
    """The coach on so many devices, who looks at the sheet and then at one client after the other."""
    from coaching.models import Client, DeviceToken

    coach = _coach()
    clients = list(Client.objects.filter(practice=coach.practice).order_by("id")[: 5 * count])
    found = []
    for number in range(count):
        _, token = DeviceToken.objects.create(
            user=coach.account, practice=coach.practice, membership=coach, device_name="bench"
        )
        addresses = ["/api/v1/morning-sheet"]
        for client in clients[number::count]:
            own = f"/api/v1/clients/{client.uid}"
            addresses += [f"{own}/history?weeks=52", f"{own}/sessions?page_size=50"]
        found.append({"role": "reader", "token": token, "addresses": addresses})
    return found


if __name__ == "__main__":
    main()
