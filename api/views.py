"""Base of every route: who asks, how much they may send, what query parameters there are."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

from django.conf import settings
from django.db import transaction
from django.http import HttpResponseBase
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import throttling
from api.filters import Parameters, read_parameters
from api.operations import Operation
from api.record_serializer import StrictSerializer
from dryrecords.core.errors import DomainError, FieldError
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access

READ_AT_A_TIME = 64 * 1024
# So much of a body that is too large is taken from the wire, in multiples of what is allowed, and thrown away.
READ_ON = 2


class TooLarge(APIException):
    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE
    default_code = "too_large"


def _read_on(request: Request, most: int) -> None:
    """Whoever sends a whole body before listening would see a broken connection instead of the answer."""
    while most > 0 and (read := request.stream.read(min(most, READ_AT_A_TIME))):
        most -= len(read)


class AlwaysJson(DefaultContentNegotiation):
    """There is one representation, so whatever the client would like best, it gets that one."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        return renderers[0], renderers[0].media_type


class Route(APIView):
    content_negotiation_class = AlwaysJson
    max_body_bytes = settings.MAX_BODY_BYTES
    # All or nothing. A route that commits in steps of its own says so; each step is in the scope all the same.
    one_transaction = True

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """DRF's, with the handler in the scope of whoever asks. What fails is answered after it is rolled back."""
        self.args, self.kwargs, self.headers = args, kwargs, self.default_response_headers
        self.request = self.initialize_request(request, *args, **kwargs)
        try:
            self.initial(self.request, *args, **kwargs)
            response = self._handled(*args, **kwargs)
        except Exception as error:
            response = self.handle_exception(error)
        self.response = self.finalize_response(self.request, response, *args, **kwargs)
        # Nobody's records are kept in between, and what is sent is data, whatever a browser takes it for.
        self.response.headers.setdefault("Cache-Control", "private, no-cache")
        self.response.headers.setdefault("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
        return self.response

    def _handled(self, *args: Any, **kwargs: Any) -> HttpResponseBase:
        known = self.request.method.lower() in self.http_method_names
        name = self.request.method.lower() if known else "http_method_not_allowed"
        handler = getattr(self, name, self.http_method_not_allowed)
        if not isinstance(self.request.auth, Access):
            return handler(self.request, *args, **kwargs)
        within = transaction.atomic() if self.one_transaction else nullcontext()
        with scope.organization(self.access.organization_id), within:
            return handler(self.request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        # Before the token is looked up, which costs the most of what a stranger can cause.
        throttling.check_address(request)
        super().initial(request, *args, **kwargs)
        if isinstance(request.auth, Access):
            throttling.check_token(request.auth.token_id)
        length = request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and int(length) > self.max_body_bytes:
            _read_on(request, READ_ON * self.max_body_bytes)
            raise TooLarge(f"The body is larger than {self.max_body_bytes} bytes. Send less at a time.")
        self.query = read_parameters(request, self.parameters(request.method))

    def parameters(self, method: str) -> Parameters:
        """The query parameters of a method."""
        return {}

    def describe(self, method: str) -> Operation:
        """What the OpenAPI document says of a method."""
        raise NotImplementedError

    def options(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return Response(status=status.HTTP_204_NO_CONTENT)

    @property
    def access(self) -> Access:
        return self.request.auth


@contextmanager
def outward_errors(serializer: type[StrictSerializer]) -> Iterator[None]:
    """The domain names columns; outside they have the names of their trade units."""
    try:
        yield
    except DomainError as error:
        error.errors = [outward_error(serializer, each) for each in error.errors]
        raise


def outward_error(serializer: type[StrictSerializer], error: FieldError) -> FieldError:
    column = error.pointer.removeprefix("/")
    name = serializer.name_of_column(column)
    return FieldError(f"/{name}", error.code, error.detail.replace(column, name)) if column else error
