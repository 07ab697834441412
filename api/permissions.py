"""Who may call a view at all; what they may see in it is decided by the reads and operations."""

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from api.authentication import actor_of
from api.service_scopes import scope_of
from coaching.models import DeviceToken, ServiceToken


class IsCoach(BasePermission):
    """Owners and coaches."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.auth is not None and actor_of(request).is_coach


class IsOwner(BasePermission):
    """Owners only."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.auth is not None and actor_of(request).is_owner


class IsOpen(BasePermission):
    """In a practice that has closed its owners read and export, and change nothing."""

    message = "This practice is closed; its data can be read and exported."

    def has_permission(self, request: Request, view: APIView) -> bool:
        is_reading = request.method in SAFE_METHODS
        device = request.auth
        return is_reading or not isinstance(device, DeviceToken) or device.practice.closed_at is None


class HasScope(BasePermission):
    """Service tokens with the scope that this call asks for; where none is named, none is let in."""

    message = "This service token may not do this."

    def has_permission(self, request: Request, view: APIView) -> bool:
        match = request.resolver_match
        scope = scope_of(str(request.method), match.route) if match else None
        return isinstance(request.auth, ServiceToken) and scope is not None and scope in request.auth.scopes
