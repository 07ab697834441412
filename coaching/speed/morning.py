"""What makes an ordinary morning of a practice that a night has seen; prints who reads it, as JSON."""

import argparse
import json
import os
import random

ALERTED = 28


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    print(json.dumps(_furnish(random.Random(asked.seed))))  # noqa: S311, T201


def _furnish(chance: random.Random) -> dict[str, str]:
    """Alerts of some clients only, a few unscored, some new, limits that end, loads to confirm."""
    from datetime import timedelta

    from django.utils import timezone

    from coaching.models import (
        Alert,
        Client,
        DeviceToken,
        Injury,
        JointDay,
        LoggedSet,
        Membership,
        NightClient,
        Restriction,
    )
    from coaching.models.scope import across_practices

    with across_practices("a bench makes its morning"):
        coach = Membership.objects.select_related("account", "practice").get()
        today = timezone.now().date()
        clients = list(Client.objects.order_by("id").values_list("id", flat=True))
        for number, client in enumerate(clients):
            Client.objects.filter(id=client).update(name=f"Invented Person {number:03d}")
        alerted = sorted(set(Alert.objects.values_list("client_id", flat=True)))
        kept = chance.sample(alerted, min(ALERTED, len(alerted)))
        Alert.objects.exclude(client__in=kept).delete()

        def some(count: int) -> list[int]:
            return chance.sample(clients, min(count, len(clients)))

        NightClient.objects.filter(client__in=some(3)).update(state="failed", error_code="ValueError")
        for injury in Injury.objects.filter(client__in=some(4)):
            Restriction.objects.create(
                practice_id=injury.practice_id, injury=injury, kind="limit", limit="No jumping",
                from_on=today, until_on=today + timedelta(days=3), said_by="coach",
            )  # fmt: skip
        for client in some(4):
            newest = LoggedSet.objects.filter(session__client=client).order_by("-id")[:1]
            LoggedSet.objects.filter(id__in=[row.id for row in newest]).update(is_to_confirm=True)
        early = today - timedelta(days=20)
        JointDay.objects.filter(client__in=some(6), day_on__lt=early).delete()
        _, token = DeviceToken.objects.create(
            user=coach.account, practice=coach.practice, device_name="bench", membership=coach
        )
        return {"token": token, "client": str(Client.objects.get(id=clients[0]).uid)}


if __name__ == "__main__":
    main()
