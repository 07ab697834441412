"""Where an account is at home: the practices it is a member or a client of."""

from dataclasses import dataclass

from coaching.models import Account, Client, Membership, Practice, Role


@dataclass(frozen=True, slots=True)
class Place:
    """A practice, as a member or as a client."""

    practice: Practice
    membership: Membership | None = None
    client: Client | None = None


def places_of(account: Account) -> list[Place]:
    """In a practice that has closed only owners are at home, to read and export."""
    memberships = Membership.objects.filter(account=account, left_at__isnull=True).select_related("practice")
    clients = Client.objects.current().filter(account=account).select_related("practice")
    return [
        *(
            Place(row.practice, membership=row)
            for row in memberships.order_by("id")
            if row.practice.closed_at is None or row.role == Role.OWNER
        ),
        *(
            Place(row.practice, client=row)
            for row in clients.filter(practice__closed_at__isnull=True).order_by("id")
        ),
    ]
