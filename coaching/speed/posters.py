"""People who post: `python -m coaching.speed.posters` makes them, and shows what one post left in rows."""

import argparse
import json
import os
import sys
import uuid
from typing import Any

LEFT_OUT = {"id", "practice_id", "client_id", "session_id", "received_at"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=0)
    parser.add_argument("--rows-of", type=uuid.UUID)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from coaching.models.scope import across_practices

    with across_practices("a bench makes practices of its own"):
        found = _rows_of(asked.rows_of) if asked.rows_of else _made(asked.count)
    sys.stdout.write(json.dumps(found, default=str))


def _made(count: int) -> list[dict[str, Any]]:
    """A practice with so many clients, each with consent and a device."""
    from django.utils import timezone

    from coaching.models import Account, Client, Consent, DeviceToken, Membership, Practice, Role

    now, where = timezone.now(), {"zone": "Europe/Berlin", "country": "DE", "emergency_text": "112"}
    practice = Practice.objects.create(name="Millrace Strength", created_at=now, **where)

    def account() -> Any:
        return Account.objects.create(email=f"{uuid.uuid4()}@example.org", name="Ada Quill", created_at=now)

    coach = Membership.objects.create(practice=practice, account=account(), role=Role.OWNER, joined_at=now)
    made = []
    for number in range(count):
        client = Client.objects.create(
            practice=practice, coach=coach, account=account(), name=f"Client {number}", created_at=now,
            **where,
        )  # fmt: skip
        Consent.objects.create(
            practice=practice, client=client, purpose="health_data", text_version="2026-01", given_at=now
        )
        device, token = DeviceToken.objects.create(
            user=client.account, practice=practice, client=client, device_name="bench"
        )
        made.append(
            {
                "token": token,
                "practice_id": practice.id,
                "client_id": client.id,
                "account_id": client.account_id,
                "device_id": device.uid,
                "subject_key": client.audit_key,
            }
        )
    return made


def _rows_of(session_uid: uuid.UUID) -> dict[str, Any]:
    """All that was stored with a session, without what belongs to its client."""
    from coaching.models import JointDay, LiftDay, Session

    session = Session.objects.get(uid=session_uid)
    of_the_day = {"client_id": session.client_id, "day_on": session.performed_on}
    return {
        "session": _plain(session),
        "sets": [_plain(row) for row in session.sets.all()],
        "pain_reports": [_plain(row) for row in session.pain_reports.all()],
        "joint_days": [_plain(row) for row in JointDay.objects.filter(**of_the_day)],
        "lift_days": [_plain(row) for row in LiftDay.objects.filter(**of_the_day)],
    }


def _plain(row: Any) -> dict[str, Any]:
    names = [field.attname for field in row._meta.concrete_fields if field.attname not in LEFT_OUT]
    return {name: getattr(row, name) for name in names}


if __name__ == "__main__":
    main()
