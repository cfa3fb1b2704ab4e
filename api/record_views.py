"""The routes that every resource has: list and create; read, correct and remove; history; restore."""

from __future__ import annotations

from functools import partial
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api import describing
from api.csv_lists import csv_is_wanted, csv_of
from api.etags import etag, is_known, version_in_body, version_to_match
from api.filters import PAGE, Parameters, conditions
from api.history import COLUMNS, teller
from api.idempotency import once
from api.operations import Operation
from api.paging import BY_MOMENT_AND_ID, page
from api.push import arrived
from api.resources import Resource
from api.views import Route, outward_error
from dryrecords.core.errors import Conflict, DomainError, NotFound
from dryrecords.tenancy.bulk import is_referred_to
from dryrecords.tenancy.history import entries_of
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import get


class RecordRoute(Route):
    # Given by as_view.
    resource: Resource = None

    def handle_exception(self, exc: Exception) -> Response:
        if isinstance(exc, DomainError):
            exc.errors = [outward_error(self.resource.serializer, error) for error in exc.errors]
        return super().handle_exception(exc)

    def visible(self) -> QuerySet[Any]:
        return self.resource.model._default_manager.visible_to(self.access)

    def tell_who_waits(self, record: Record) -> None:
        """What devices brought before the record that it belongs to. A failure there is none of this request."""
        if is_referred_to(self.resource.model):
            transaction.on_commit(partial(arrived, self.access.organization_id, {record.pk}), robust=True)

    def answer(self, record: Record, code: int = status.HTTP_200_OK) -> Response:
        return Response(
            self.resource.serializer.outward_record(record), status=code, headers={"ETag": etag(record.version)}
        )

    def validated(self, data: Any, record: Record | None = None) -> dict[str, Any]:
        serializer = self.resource.serializer(record, data=data, partial=record is not None)
        serializer.is_valid(raise_exception=True)
        values: dict[str, Any] = serializer.validated_data
        return values


class Collection(RecordRoute):
    def parameters(self, method: str) -> Parameters:
        return self.resource.parameters if method in ("GET", "HEAD") else {}

    def get(self, request: Request) -> HttpResponseBase:
        serializer, model = self.resource.serializer, self.resource.model
        rows = self.visible().filter(*conditions(self.query, self.resource.parameters))
        keys = dict(zip((model.listed_by, "id"), BY_MOMENT_AND_ID, strict=True))
        if csv_is_wanted(request, self.query):
            return csv_of(serializer, rows, list(keys), self.access.organization_id)
        columns = serializer.columns()
        return Response(page(request, rows, self.query, keys=keys, columns=columns, outward=serializer.outward))

    def post(self, request: Request) -> HttpResponse:
        return once(request, lambda: self._create(request))

    def _create(self, request: Request) -> Response:
        self.access.must_write(self.resource.name)
        values = self.validated(request.data)
        try:
            record = self.resource.writer.create(self.access, values)
            self.tell_who_waits(record)
            response = self.answer(record, status.HTTP_201_CREATED)
        except Conflict as refusal:
            twin = self._twin(values) if refusal.code == "id_taken" else None
            if twin is None:
                raise
            response = self.answer(twin)
        response["Location"] = f"{request.path}/{response.data['id']}"
        return response

    def _twin(self, values: dict[str, Any]) -> Record | None:
        """The record that an earlier delivery of the same body made, if nothing in it differs."""
        completed = dict(values)
        self.resource.writer.complete(self.access, [completed], None)
        wanted = self.resource.model(**completed)
        there = self.visible().filter(pk=wanted.pk).first()
        if there is None:
            return None
        columns = set(self.resource.serializer.columns()) - {"version", "created_at", "updated_at"}
        same = all(getattr(there, column) == getattr(wanted, column) for column in columns)
        return there if same else None

    def describe(self, method: str) -> Operation:
        return describing.collection(self.resource, method)


class Single(RecordRoute):
    def get(self, request: Request, id: UUID) -> Response:
        record = get(self.access, self.resource.model, id)
        if is_known(request, record.version):
            return Response(status=status.HTTP_304_NOT_MODIFIED, headers={"ETag": etag(record.version)})
        return self.answer(record)

    def patch(self, request: Request, id: UUID) -> HttpResponse:
        return once(request, lambda: self._correct(request, id))

    def delete(self, request: Request, id: UUID) -> HttpResponse:
        return once(request, lambda: self._remove(request, id))

    def _correct(self, request: Request, id: UUID) -> Response:
        record, version = self._writable(request, id)
        version = version_in_body(request.data, record) or version
        values = self.validated(request.data, record)
        return self.answer(self.resource.writer.correct(self.access, id, values, version=version))

    def _remove(self, request: Request, id: UUID) -> Response:
        _, version = self._writable(request, id)
        self.resource.writer.remove(self.access, id, version=version)
        return Response(status=status.HTTP_204_NO_CONTENT)

    def _writable(self, request: Request, id: UUID) -> tuple[Record, int | None]:
        """Not there goes before not allowed: who may not see a record does not learn that it is there."""
        record = get(self.access, self.resource.model, id)
        self.access.must_write(self.resource.name)
        return record, version_to_match(request, record)

    def describe(self, method: str) -> Operation:
        return describing.single(self.resource, method)


class Restore(RecordRoute):
    def post(self, request: Request, id: UUID) -> HttpResponse:
        return once(request, lambda: self._restore(request, id))

    def _restore(self, request: Request, id: UUID) -> Response:
        record = self.resource.model._default_manager.ever_visible_to(self.access).filter(pk=id).first()
        if record is None:
            raise NotFound()
        self.access.must_write(self.resource.name)
        version = version_to_match(request, record)
        restored = self.resource.writer.restore(self.access, id, version=version)
        self.tell_who_waits(restored)
        return self.answer(restored)

    def describe(self, method: str) -> Operation:
        return describing.restore(self.resource)


class History(RecordRoute):
    def parameters(self, method: str) -> Parameters:
        return PAGE

    def get(self, request: Request, id: UUID) -> Response:
        if not self.resource.model._default_manager.ever_visible_to(self.access).filter(pk=id).exists():
            raise NotFound()
        changes = entries_of(self.access, [id])
        return Response(
            page(
                request,
                changes,
                self.query,
                keys={"number": int},
                columns=COLUMNS,
                outward=teller(self.resource.serializer),
            )
        )

    def describe(self, method: str) -> Operation:
        return describing.history(self.resource)
