"""Gives every request an id, so that an answer, a log line and a change can be found by it."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-ID"
ACCEPTABLE = re.compile(r"[A-Za-z0-9._-]{1,64}")


class RequestIdMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        sent = request.headers.get(HEADER, "")
        request.request_id = sent if ACCEPTABLE.fullmatch(sent) else uuid.uuid4().hex
        response = self.get_response(request)
        response[HEADER] = request.request_id
        return response
