"""Who asks: bearer tokens become an Access, the one thing that services and selectors take."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from dryrecords.tenancy.access import Access
from dryrecords.tenancy.services import access_of_token


class TokenAuthentication(BaseAuthentication):
    def authenticate(self, request: Request) -> tuple[Access, Access] | None:
        scheme, _, text = request.headers.get("Authorization", "").partition(" ")
        if not scheme:
            return None
        access = access_of_token(text.strip(), request.request_id) if scheme.lower() == "bearer" else None
        if access is None:
            raise AuthenticationFailed("This token is unknown or revoked. Ask the office for a new one.")
        return access, access

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="dryrecords"'


class HasAccess(BasePermission):
    """Signed in at all; what a role may do is decided by the services."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return isinstance(request.auth, Access)
