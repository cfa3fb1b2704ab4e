"""Problem documents (RFC 9457): every refusal says what was wrong, where, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from dryrecords.core.errors import (
    Conflict,
    DomainError,
    FieldError,
    Forbidden,
    Gone,
    Invalid,
    NotFound,
    VersionMismatch,
)

MEDIA_TYPE = "application/problem+json"

RETRY_AFTER_S = "5"

STATUS_OF: dict[type[DomainError], int] = {
    NotFound: 404,
    Forbidden: 403,
    Conflict: 409,
    Gone: 410,
    VersionMismatch: 412,
    Invalid: 422,
}


# What to do, where the framework only says what was wrong.
SAID: dict[type[Exception], str] = {
    exceptions.NotAuthenticated: "Send your token in a header: Authorization: Bearer TOKEN.",
    exceptions.UnsupportedMediaType: "Send JSON and say so in a header: Content-Type: application/json.",
}


def problem(
    status: int, code: str, detail: str, errors: list[FieldError] | None = None, request_id: str = ""
) -> dict[str, Any]:
    body: dict[str, Any] = {
        # Not an address to look up: a stable name for programs (RFC 9457, section 3.1.1, allows any URI).
        "type": f"urn:dryrecords:problem:{code}",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "errors": [{"pointer": e.pointer, "code": e.code, "detail": e.detail} for e in errors or []],
    }
    if request_id:
        body["request_id"] = request_id
    return body


def problem_of(error: Exception) -> dict[str, Any] | None:
    """The problem document of an expected error; None for one that nobody expected."""
    if isinstance(error, DomainError):
        return problem(_status_of(error), error.code, error.detail, error.errors)
    if isinstance(error, exceptions.ValidationError):
        errors = list(_field_errors(error.get_full_details()))
        return problem(422, "invalid", _told(errors), errors)
    if isinstance(error, Http404):
        return problem(404, NotFound.code, NotFound.title)
    if isinstance(error, PermissionDenied):
        return problem(403, Forbidden.code, Forbidden.title)
    if isinstance(error, OperationalError):
        return problem(503, "no_database", "The database cannot be reached just now. Nothing was written; try again.")
    if type(error) in SAID:
        return problem(error.status_code, error.default_code, SAID[type(error)])
    if isinstance(error, exceptions.APIException):
        code = error.get_codes() if isinstance(error.get_codes(), str) else error.default_code
        return problem(error.status_code, str(code), str(error.detail))
    return None


def _status_of(error: DomainError) -> int:
    """A refusal of a part of the domain is of one of these kinds too."""
    return next(status for kind, status in STATUS_OF.items() if isinstance(error, kind))


def _told(errors: list[FieldError]) -> str:
    """The first one, with the name of its field."""
    if not errors:
        return Invalid.title
    name = errors[0].pointer.removeprefix("/")
    return f"{name}: {errors[0].detail}" if name else errors[0].detail


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler."""
    body = problem_of(error)
    if body is None:
        return None
    set_rollback()
    body["request_id"] = context["request"].request_id
    headers = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = error.auth_header  # type: ignore[attr-defined]
    if getattr(error, "wait", None):
        headers["Retry-After"] = str(int(error.wait))  # type: ignore[attr-defined]
    if body["status"] == 503:
        headers["Retry-After"] = RETRY_AFTER_S
    return Response(body, status=body["status"], headers=headers, content_type=MEDIA_TYPE)


def _field_errors(details: Any, pointer: str = "") -> Iterator[FieldError]:
    """DRF's nested details, flattened to JSON pointers."""
    if _is_leaf(details):
        yield FieldError(pointer, str(details["code"]), str(details["message"]))
    elif isinstance(details, dict):
        for name, inner in details.items():
            yield from _field_errors(
                inner, pointer if name == "non_field_errors" else f"{pointer}/{_escaped(str(name))}"
            )
    elif isinstance(details, list):
        leaves = all(_is_leaf(inner) for inner in details)
        for index, inner in enumerate(details):
            yield from _field_errors(inner, pointer if leaves else f"{pointer}/{index}")


def _is_leaf(details: Any) -> bool:
    # A body may have fields called message and code; their details are lists.
    return isinstance(details, dict) and isinstance(details.get("message"), str)


def _escaped(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")


def _plain_view(request: HttpRequest, status: int, code: str, detail: str) -> JsonResponse:
    body = problem(status, code, detail, request_id=getattr(request, "request_id", ""))
    return JsonResponse(body, status=status, content_type=MEDIA_TYPE)


def bad_request(request: HttpRequest, exception: Exception) -> JsonResponse:
    return _plain_view(request, 400, "bad_request", "The request could not be read.")


def forbidden(request: HttpRequest, exception: Exception) -> JsonResponse:
    return _plain_view(request, 403, Forbidden.code, Forbidden.title)


def not_found(request: HttpRequest, exception: Exception) -> JsonResponse:
    return _plain_view(request, 404, NotFound.code, "There is nothing at this address.")


def too_many(request: HttpRequest, wait_s: int) -> JsonResponse:
    response = _plain_view(request, 429, "throttled", f"Too many attempts. Try again in {wait_s} seconds.")
    response["Retry-After"] = str(wait_s)
    return response


def server_error(request: HttpRequest) -> JsonResponse:
    return _plain_view(
        request, 500, "server_error", "Something failed on our side. The request id finds it in the log."
    )
