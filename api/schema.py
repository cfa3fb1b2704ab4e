"""Writes the OpenAPI document from what the routes say of themselves (`Route.describe`)."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.http import HttpRequest, HttpResponse
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from rest_framework import serializers

from api.forecasts import ListedField
from api.operations import Answer, Operation
from api.problems import MEDIA_TYPE
from api.quantities import QuantityField
from api.record_serializer import GroupSerializer, PartSerializer, RecordSerializer
from api.rendering import dumps
from dryrecords.season.grids import MOST_FORECASTS

PROBLEM = {
    "type": "object",
    "description": "Why a request was refused (RFC 9457).",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"type": "string", "description": "urn:dryrecords:problem: and a stable code for programs."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "For people."},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "code", "detail"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "description": "JSON pointer into the body; for a query parameter, / and its name.",
                    },
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
        "request_id": {"type": "string"},
    },
}

PROBLEMS = {
    400: "The body is not JSON.",
    401: "No token, or one that is unknown or revoked.",
    403: "The role may not do this.",
    404: "There is no such record, or it is not yours to see: the two are never told apart.",
    409: "It clashes with what is recorded: the id is taken, the record is still in use, or was corrected.",
    410: "The cursor is of another history: begin anew without one.",
    412: "The record has changed since you read it.",
    413: "The body is too large.",
    415: "The body is not declared as application/json, or as what else is taken here.",
    422: "Well-formed, but impossible: `errors` says which values, and why.",
    429: "Too many requests of this token or from this address. Retry-After says when to come back.",
    503: "The database cannot be reached just now. Retry-After says when to come back.",
}

HEADERS = {
    "ETag": "Version of the record, for If-Match and If-None-Match.",
    "Location": "Path of the record.",
    "Idempotency-Replayed": "`true` on an answer that was given before to the same Idempotency-Key.",
    "If-Match": "ETag the record must still have; * for any.",
    "If-None-Match": "ETag that is known already: then the answer is 304 and has no body.",
    "Idempotency-Key": "A request repeated with its key happens once and gets the first answer again.",
}


class RouteSchema(AutoSchema):
    def get_operation(self, path: str, path_regex: str, path_prefix: str, method: str, registry: Any) -> Any:
        if self.is_excluded() or not hasattr(self.view, "describe"):
            return None
        self.registry, self.path, self.method = registry, path, method.upper()
        self.problem = ResolvedComponent("Problem", ResolvedComponent.SCHEMA, PROBLEM, "Problem")
        self.registry.register_on_missing(self.problem)
        operation: Operation = self.view.describe(self.method)
        document: dict[str, Any] = {
            "operationId": operation.id,
            "summary": operation.summary,
            "tags": [operation.tag],
            "security": [] if operation.public else [{"token": []}],
            "parameters": self._all_parameters(operation),
            "responses": self._responses(operation),
        }
        if operation.body is not None:
            content = {"schema": self._resolved(operation.body, "request")}
            if operation.example is not None:
                content["example"] = operation.example
            document["requestBody"] = {"required": True, "content": {"application/json": content}}
        if operation.csv_body:
            document["requestBody"]["content"]["text/csv"] = {"schema": {"type": "string"}}
        return document

    def _all_parameters(self, operation: Operation) -> list[Any]:
        path = [
            {"name": name, "in": "path", "required": True, "schema": schema} for name, schema in operation.path.items()
        ]
        query = [
            {
                "name": name,
                "in": "query",
                "description": parameter.description,
                "schema": self._map_serializer_field(parameter.field, "request"),
            }
            for name, parameter in operation.query.items()
        ]
        headers = [
            {"name": name, "in": "header", "description": HEADERS[name], "schema": {"type": "string"}}
            for name in operation.headers
        ]
        return path + query + headers

    def _responses(self, operation: Operation) -> dict[str, Any]:
        answers = {str(code): self._answer(answer) for code, answer in operation.answers.items()}
        schema = {MEDIA_TYPE: {"schema": self.problem.ref}}
        refusals = {
            str(code): {"description": PROBLEMS[code], "content": schema} for code in (*operation.problems, 429, 503)
        }
        return answers | refusals

    def _answer(self, answer: Answer) -> dict[str, Any]:
        told: dict[str, Any] = {"description": answer.description}
        if answer.headers:
            told["headers"] = {
                name: {"description": HEADERS[name], "schema": {"type": "string"}} for name in answer.headers
            }
        if answer.schema is not None:
            told["content"] = {"application/json": {"schema": self._resolved(answer.schema, "response")}}
        if answer.csv:
            told.setdefault("content", {})["text/csv"] = {"schema": {"type": "string"}}
        for media_type in answer.documents:
            told.setdefault("content", {})[media_type] = {"schema": {"type": "string"}}
        return told

    def _resolved(self, schema: Any, direction: str) -> Any:
        """Serializer classes replaced by references to their components."""
        if isinstance(schema, type):
            return self.resolve_serializer(schema(partial=self.method == "PATCH"), direction).ref
        if isinstance(schema, dict):
            return {name: self._resolved(inner, direction) for name, inner in schema.items()}
        if isinstance(schema, list):
            return [self._resolved(inner, direction) for inner in schema]
        return schema

    def _map_serializer(self, serializer: Any, direction: str, bypass_extensions: bool = False) -> Any:
        schema = super()._map_serializer(serializer, direction, bypass_extensions)
        # Comments for programmers, not for clients.
        schema.pop("description", None)
        if direction == "request":
            schema["additionalProperties"] = False
        elif isinstance(serializer, RecordSerializer | PartSerializer | GroupSerializer):
            # What was not given is null, never left out.
            schema["required"] = list(schema["properties"])
        return schema

    def _map_serializer_field(self, field: Any, direction: str, bypass_extensions: bool = False) -> Any:
        schema = super()._map_serializer_field(field, direction, bypass_extensions)
        schema.pop("x-spec-enum-id", None)
        if isinstance(field, QuantityField) and direction == "request":
            bounds = {
                "minimum": field.limits.low,
                "maximum": field.limits.high,
                "exclusiveMinimum": field.limits.above,
            }
            schema |= {name: bound for name, bound in bounds.items() if bound is not None}
        if isinstance(field, ListedField) and direction == "request":
            many = {"type": "array", "items": dict(schema), "minItems": 1, "maxItems": MOST_FORECASTS}
            schema = {"oneOf": [schema, many]}
        if isinstance(field, serializers.ListSerializer) and field.max_length:
            schema["maxItems"] = field.max_length
        return schema


@cache
def document() -> bytes:
    return dumps(SchemaGenerator().get_schema(request=None, public=True))


def openapi(request: HttpRequest) -> HttpResponse:
    """The same for everybody, so it is written once and needs no token."""
    return HttpResponse(document(), content_type="application/json")
