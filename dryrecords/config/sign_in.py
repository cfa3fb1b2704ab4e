"""The admin's own page for signing in, behind a count of attempts."""

from __future__ import annotations

from django.contrib import admin
from django.http import HttpRequest, HttpResponseBase

from api.problems import too_many
from dryrecords.core.callers import address_of
from dryrecords.tenancy import sign_in


def sign_in_page(request: HttpRequest) -> HttpResponseBase:
    if request.method != "POST":
        return admin.site.login(request)
    number = sign_in.attempt(request.POST.get("username", ""), address_of(request))
    if number is None:
        return too_many(request, int(sign_in.WITHIN.total_seconds()))
    response = admin.site.login(request)
    # A form that is shown again has refused what it was given.
    if response.status_code == 302:
        sign_in.succeeded(number)
    return response
