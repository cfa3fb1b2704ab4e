"""Signing in and out, choosing one of several organizations, a new password."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from dryrecords.core.callers import address_of
from dryrecords.core.errors import NotFound
from dryrecords.office.desk import choose, desk_of
from dryrecords.office.pages import OpenPage, refusal
from dryrecords.tenancy import sign_in
from dryrecords.tenancy.people import memberships_of

TOO_MANY = "Too many attempts from here, or for this name. Try again in a quarter of an hour."


class SignIn(OpenPage):
    def get(self, request: HttpRequest) -> HttpResponseBase:
        if request.user.is_authenticated:
            return HttpResponseRedirect(_next(request))
        return self._form(request, AuthenticationForm(request))

    def post(self, request: HttpRequest) -> HttpResponseBase:
        number = sign_in.attempt(request.POST.get("username", ""), address_of(request))
        if number is None:
            response = refusal(request, 429, TOO_MANY)
            response["Retry-After"] = str(int(sign_in.WITHIN.total_seconds()))
            return response
        form = AuthenticationForm(request, data=request.POST)
        if not form.is_valid():
            return self._form(request, form, status=422)
        sign_in.succeeded(number)
        login(request, form.get_user())
        return HttpResponseRedirect(_next(request))

    def _form(self, request: HttpRequest, form: AuthenticationForm, status: int = 200) -> HttpResponseBase:
        context = {"form": form, "next": request.POST.get("next") or request.GET.get("next", "")}
        return render(request, "office/sign_in.html", context, status=status)


class SignOut(OpenPage):
    def post(self, request: HttpRequest) -> HttpResponseBase:
        logout(request)
        return HttpResponseRedirect(reverse("office:sign-in"))


class SignedIn(OpenPage):
    """Of a person, not yet of an organization."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return HttpResponseRedirect(reverse("office:sign-in"))
        return super().dispatch(request, *args, **kwargs)


class Organizations(SignedIn):
    def get(self, request: HttpRequest) -> HttpResponseBase:
        context = {"desk": desk_of(request), "memberships": memberships_of(cast(User, request.user))}
        return render(request, "office/organizations.html", context)

    def post(self, request: HttpRequest) -> HttpResponseBase:
        try:
            choose(request, UUID(request.POST.get("organization", "")))
        except (ValueError, NotFound):
            return refusal(request, 404, NotFound.title)
        return HttpResponseRedirect(reverse("office:board"))


class Password(SignedIn):
    def get(self, request: HttpRequest) -> HttpResponseBase:
        return self._form(request, PasswordChangeForm(cast(User, request.user)))

    def post(self, request: HttpRequest) -> HttpResponseBase:
        form = PasswordChangeForm(cast(User, request.user), data=request.POST)
        if not form.is_valid():
            return self._form(request, form, status=422)
        # The other sessions of this person end; this one goes on.
        update_session_auth_hash(request, form.save())
        return HttpResponseRedirect(reverse("office:board"))

    def _form(self, request: HttpRequest, form: PasswordChangeForm, status: int = 200) -> HttpResponseBase:
        return render(request, "office/password.html", {"form": form, "desk": desk_of(request)}, status=status)


def _next(request: HttpRequest) -> str:
    """Where the person wanted to go, if that is here."""
    wanted = request.POST.get("next") or request.GET.get("next", "")
    here = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if wanted and here else reverse("office:board")
