"""Where an account is at home: the practices it is a member or a client of."""

from dataclasses import dataclass

from coaching.models import Account, Client, Membership, Practice


@dataclass(frozen=True, slots=True)
class Place:
    """A practice, as a member or as a client."""

    practice: Practice
    membership: Membership | None = None
    client: Client | None = None


def places_of(account: Account) -> list[Place]:
    memberships = Membership.objects.filter(account=account, left_at__isnull=True).select_related("practice")
    clients = Client.objects.current().filter(account=account).select_related("practice")
    return [
        *(Place(row.practice, membership=row) for row in memberships.order_by("id")),
        *(Place(row.practice, client=row) for row in clients.order_by("id")),
    ]
