"""Base of every route: who asks, how much they may send, what query parameters there are."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.filters import Parameters, read_parameters
from api.operations import Operation
from api.record_serializer import StrictSerializer
from dryrecords.core.errors import DomainError, FieldError
from dryrecords.tenancy.access import Access


class TooLarge(APIException):
    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE
    default_code = "too_large"


class AlwaysJson(DefaultContentNegotiation):
    """There is one representation, so whatever the client would like best, it gets that one."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        return renderers[0], renderers[0].media_type


class Route(APIView):
    content_negotiation_class = AlwaysJson
    max_body_bytes = settings.MAX_BODY_BYTES

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        length = request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and int(length) > self.max_body_bytes:
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
