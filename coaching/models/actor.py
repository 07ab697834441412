"""Who asks: taken from the device's token, never from what the request says."""

import uuid
from dataclasses import dataclass

from coaching.models.membership import Role


@dataclass(frozen=True, slots=True)
class Actor:
    account_id: uuid.UUID
    device_id: uuid.UUID | None
    practice_id: int
    role: Role
    membership_id: int | None = None
    client_id: int | None = None
    sees_all_clients: bool = False

    @property
    def is_coach(self) -> bool:
        return self.role in (Role.OWNER, Role.COACH)

    @property
    def is_owner(self) -> bool:
        return self.role == Role.OWNER
