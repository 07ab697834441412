"""Fills the database of the environment with one practice of many clients, whose night takes a while.

Run as a process of its own: python -m tests.journeys.many_clients 500
"""

import os
import sys
import uuid
from datetime import timedelta

import django


def fill(clients: int) -> None:
    from django.utils import timezone

    from coaching.models import Client, Consent, JointDay, Practice
    from coaching.models.scope import across_practices
    from tests.factories import ClientFactory, MembershipFactory, PracticeFactory

    now = timezone.now()
    with across_practices("a test's own database"):
        practice: Practice = PracticeFactory(zone="UTC", night_hour=0)
        coach = MembershipFactory(
            practice=practice, role="owner", account__email=f"{uuid.uuid4()}@example.org"
        )
        made: list[Client] = ClientFactory.build_batch(clients, coach=coach, practice=practice, account=None)
        Client.objects.bulk_create(made)
        Consent.objects.bulk_create(
            Consent(practice=practice, client=each, purpose="health_data", text_version="1", given_at=now)
            for each in made
        )
        JointDay.objects.bulk_create(
            (
                JointDay(
                    practice=practice,
                    client=each,
                    day_on=now.date() - timedelta(days=2 * day + 1),
                    joint="knee",
                    side="left",
                    joint_reps=30 + day % 7,
                    pain=2 + day % 3,
                )
                for each in made
                for day in range(45)
            ),
            batch_size=2000,
        )


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    django.setup()
    fill(int(sys.argv[1]))
