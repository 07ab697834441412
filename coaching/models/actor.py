"""Who asks: taken from the token, never from what the request says."""

import uuid
from dataclasses import dataclass

from coaching.models.membership import Role
from coaching.models.service_scope import ServiceScope


@dataclass(frozen=True, slots=True)
class Actor:
    account_id: uuid.UUID
    device_id: uuid.UUID | None
    practice_id: int
    role: Role
    membership_id: int | None = None
    client_id: int | None = None
    sees_all_clients: bool = False
    coach_ids: tuple[int, ...] = ()  # of a service: the memberships whose clients it may see
    scopes: frozenset[str] = frozenset()

    @property
    def is_coach(self) -> bool:
        return self.role in (Role.OWNER, Role.COACH)

    @property
    def is_owner(self) -> bool:
        return self.role == Role.OWNER

    @property
    def is_service(self) -> bool:
        return self.role == Role.SERVICE

    @property
    def own_name(self) -> str:
        """Cursors and marks are signed for whoever asked for them, and good for nobody else."""
        if self.is_service:
            return f"service:{self.device_id}"
        return f"client:{self.client_id}" if self.client_id else f"member:{self.membership_id}"

    def has_scope(self, scope: ServiceScope) -> bool:
        """Only a service has scopes; what people may do follows from their role."""
        return self.is_service and scope in self.scopes
