"""What one post left in rows: `python -m coaching.speed.left_behind ID`, printed as JSON."""

import argparse
import json
import os
import sys
import uuid
from typing import Any

LEFT_OUT = {"id", "practice_id", "client_id", "session_id", "received_at"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("session", type=uuid.UUID)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from coaching.models.scope import across_practices

    with across_practices("a bench makes practices of its own"):
        found = _rows_of(asked.session)
    sys.stdout.write(json.dumps(found, default=str))


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
