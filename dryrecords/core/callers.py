"""Where a request comes from."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest


def address_of(request: HttpRequest) -> str:
    """Behind a proxy the last one named is who spoke to the proxy; those before it are hearsay."""
    forwarded = str(request.META.get("HTTP_X_FORWARDED_FOR", "")) if settings.BEHIND_PROXY else ""
    return forwarded.rpartition(",")[2].strip() or str(request.META.get("REMOTE_ADDR", ""))
