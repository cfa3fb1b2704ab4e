"""A request sent twice with one Idempotency-Key happens once and is answered twice."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable

from django.db import transaction
from django.http import HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response

from api.rendering import dumps
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.journal.answers import claim_key, keep_answer
from dryrecords.journal.models import GivenAnswer

ACCEPTABLE = re.compile(r"[\x21-\x7e]{1,200}")
KEPT_HEADERS = ("ETag", "Location")


def once(request: Request, effect: Callable[[], Response]) -> HttpResponse:
    """Effect and answer are kept in one transaction. A refusal is not kept: corrected, it may be sent again."""
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return effect()
    if not ACCEPTABLE.fullmatch(key):
        detail = "Idempotency-Key must be 1 to 200 visible ASCII characters; a UUID is best."
        raise Invalid(detail, code="bad_idempotency_key", errors=[FieldError("", "bad_idempotency_key", detail)])
    organization_id = request.auth.organization_id
    with transaction.atomic():
        given = claim_key(organization_id, key, _fingerprint(request))
        if given is not None:
            return _again(given)
        response = effect()
        headers = {name: response[name] for name in KEPT_HEADERS if name in response}
        # As text: the database would put the fields in another order.
        body = None if response.data is None else dumps(response.data).decode()
        keep_answer(organization_id, key, response.status_code, body, headers)
        return response


def _again(given: GivenAnswer) -> HttpResponse:
    response = HttpResponse(given.body or "", status=given.status, headers=given.headers)
    response["Idempotency-Replayed"] = "true"
    if given.body is None:
        del response["Content-Type"]
    else:
        response["Content-Type"] = "application/json"
    return response


def _fingerprint(request: Request) -> str:
    # The role is part of it: an answer given to one that may write is not for one that may only read.
    told = [request.auth.role, request.method or "", request.get_full_path(), request.headers.get("If-Match", "")]
    return hashlib.sha256(dumps(told) + request.body).hexdigest()
