"""Who may call a view at all; what they may see in it is decided by the reads and operations."""

from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from api.authentication import actor_of


class IsCoach(BasePermission):
    """Owners and coaches."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.auth is not None and actor_of(request).is_coach


class IsOwner(BasePermission):
    """Owners only."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.auth is not None and actor_of(request).is_owner
