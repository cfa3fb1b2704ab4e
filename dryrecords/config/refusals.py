"""What nobody has answered: a page below /office, a problem document everywhere else."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.views.csrf import csrf_failure as plain_csrf_failure

from api import problems
from dryrecords.office.pages import refusal

OFFICE = "/office"
OLD_FORM = (
    "This form was made for an earlier sign-in, or the browser keeps no cookies. Go back, load the page again and send "
    "it once more."
)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    if _is_of_office(request):
        return refusal(request, 400, "The request could not be read.")
    return problems.bad_request(request, exception)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    if _is_of_office(request):
        return refusal(request, 403, "That is not allowed.")
    return problems.forbidden(request, exception)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    if _is_of_office(request):
        return refusal(request, 404, "There is nothing at this address.")
    return problems.not_found(request, exception)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponseBase:
    if _is_of_office(request):
        return refusal(request, 403, OLD_FORM)
    return plain_csrf_failure(request, reason)


def server_error(request: HttpRequest) -> HttpResponseBase:
    if _is_of_office(request):
        return refusal(request, 500, "Something failed on our side. The number below finds it in the log.")
    return problems.server_error(request)


def _is_of_office(request: HttpRequest) -> bool:
    return request.path == OFFICE or request.path.startswith(f"{OFFICE}/")
