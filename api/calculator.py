"""A calculator: needs no record; one request, or an array of them answered as an array and computed at once."""

from __future__ import annotations

from typing import Any

import numpy as np
from rest_framework.request import Request
from rest_framework.response import Response

from api.operations import Answer, Operation
from api.quantities import QuantityField
from api.record_serializer import StrictSerializer
from api.views import Route
from dryrecords.core.errors import invalid
from dryrecords.core.quantities import Unit

MOST_AT_ONCE = 10_000

Columns = dict[str, np.ndarray[Any, Any]]


class PlainField(QuantityField):
    """A number whose name ends like a unit and that is none of a record: it is used as it is written."""

    def unit_for(self, name: str) -> Unit | None:
        return None


class Calculator(Route):
    serializer: type[StrictSerializer]
    operation_id: str
    summary: str
    # Properties of one answer, for the OpenAPI document.
    answer: dict[str, Any]

    def answers(self, column: Columns) -> list[dict[str, Any]]:
        """One answer for each row of the columns of the serializer, in SI."""
        raise NotImplementedError

    def post(self, request: Request) -> Response:
        many = isinstance(request.data, list)
        asked = request.data if many else [request.data]
        if len(asked) > MOST_AT_ONCE:
            raise invalid("", "too_many", f"Send at most {MOST_AT_ONCE} at a time.")
        serializer = self.serializer(data=request.data, many=many)
        serializer.is_valid(raise_exception=True)
        rows = serializer.validated_data if many else [serializer.validated_data]
        names = self.serializer.columns()
        answers = self.answers({name: np.array([row.get(name) for row in rows]) for name in names}) if rows else []
        return Response(answers if many else answers[0])

    def describe(self, method: str) -> Operation:
        one = {"type": "object", "properties": self.answer, "required": list(self.answer)}
        body = self.serializer
        return Operation(
            self.operation_id,
            self.summary,
            "grain",
            {
                200: Answer(
                    "One answer for each request; null where there is none.",
                    {"oneOf": [one, {"type": "array", "items": one}]},
                )
            },
            problems=(400, 401, 413, 415, 422),
            body={"oneOf": [body, {"type": "array", "items": body, "maxItems": MOST_AT_ONCE}]},
        )
