"""Base of every page: who looks, in whose scope, what a browser may do with it, and refusals in words."""

from __future__ import annotations

from contextlib import nullcontext
from http import HTTPStatus
from typing import Any
from urllib.parse import urlencode

from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views import View

from dryrecords.core.errors import Conflict, DomainError, Forbidden, Gone, Invalid, NotFound, VersionMismatch
from dryrecords.office.desk import Desk, desk_of
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access

# Nothing written inside a page runs or styles it; nothing comes from elsewhere; nobody frames it.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
STATUS_OF: dict[type[DomainError], int] = {
    NotFound: 404,
    Forbidden: 403,
    Conflict: 409,
    Gone: 410,
    VersionMismatch: 412,
    Invalid: 422,
}


def sealed(response: HttpResponseBase) -> HttpResponseBase:
    """A page is one person's: no cache keeps it, not even for the way back after signing out."""
    response.headers.setdefault("Content-Security-Policy", POLICY)
    response.headers.setdefault("Cache-Control", "private, no-store")
    return response


def refusal(request: HttpRequest, status: int, detail: str, desk: Desk | None = None) -> HttpResponseBase:
    context = {
        "desk": desk,
        "title": HTTPStatus(status).phrase,
        "detail": detail,
        "request_id": getattr(request, "request_id", ""),
    }
    return sealed(render(request, "office/refusal.html", context, status=status))


class OpenPage(View):
    """For who has not signed in yet."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return sealed(super().dispatch(request, *args, **kwargs))


class Page(View):
    """For who has signed in: the handler runs in the scope of the organization, all of it or nothing.

    `desk` says who and where, `access` is what services and selectors take. Whatever they refuse becomes a page.
    """

    desk: Desk
    # Where a service brings transactions of its own, the handler is not one.
    one_transaction = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return sealed(_to_sign_in(request))
        desk = desk_of(request)
        if desk is None:
            return sealed(HttpResponseRedirect(reverse("office:organizations")))
        self.desk = desk
        try:
            whole = transaction.atomic() if self.one_transaction else nullcontext()
            with scope.organization(desk.access.organization_id), whole:
                return sealed(super().dispatch(request, *args, **kwargs))
        except DomainError as error:
            return refusal(request, STATUS_OF[type(error)], error.detail, desk)

    @property
    def access(self) -> Access:
        return self.desk.access

    def show(self, template: str, status: int = 200, **context: Any) -> HttpResponse:
        """Made at once, while the scope is open."""
        return render(self.request, template, {"desk": self.desk, **context}, status=status)


class Nowhere(Page):
    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        desk = desk_of(request) if request.user.is_authenticated else None
        return refusal(request, 404, NotFound.title, desk)


def _to_sign_in(request: HttpRequest) -> HttpResponseRedirect:
    back = f"?{urlencode({'next': request.get_full_path()})}" if request.method == "GET" else ""
    return HttpResponseRedirect(reverse("office:sign-in") + back)
