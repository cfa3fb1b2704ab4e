"""The admin is the one place that shows records of all organizations, and only to the operator who has signed in."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from dryrecords.tenancy import scope


class OperatorMode:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # Asked of the user last: that reads the session, which no other page needs.
        if not request.path.startswith(reverse("admin:index")) or not request.user.is_staff:
            return self.get_response(request)
        with scope.operator():
            return self.get_response(request)
