"""Every operation of the OpenAPI document, tried with what the document allows and with what it does not: no answer
is a server error, and every answer is one that the document knows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import orjson
import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.schema import document
from dryrecords.config.wsgi import application
from tests import factories
from tests.api.offline import hold
from tests.api.test_isolation import id_in
from tests.factories import Farm
from tests.imports.brought import brought
from tests.settlement import audited

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
SCHEMA = schemathesis.openapi.from_dict(orjson.loads(document()))
SCHEMA.app = application
OPERATIONS = {operation.ok().label: operation.ok() for operation in SCHEMA.get_all_operations()}
FEW = settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), database=None)


@pytest.fixture
def one_connection(farm: Farm) -> Iterator[None]:
    """A real request lets go of its connection; here it carries the test's own transaction."""
    # Something for the routes that look after what was held.
    hold(farm)
    brought(farm)
    audited.audit_of(farm)
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def resource_of(label: str) -> str:
    name = label.split()[1].split("/")[3] if "{id}" in label else "customers"
    return {"sync": "samples", "imports": "samples", "audits": "tickets"}.get(name, name)


@pytest.mark.parametrize("label", OPERATIONS)
def test_answers_are_as_documented(label: str, farm: Farm, one_connection: None) -> None:
    operation = OPERATIONS[label]
    headers = {"Authorization": f"Bearer {factories.token(factories.organization())}"}
    known: dict[str, Any] = {"id": str(id_in(farm, resource_of(label))), "season": 2025}
    known = {each.name: known[each.name] for each in operation.path_parameters}
    cases = st.one_of(
        operation.as_strategy(GenerationMode.POSITIVE),
        operation.as_strategy(GenerationMode.POSITIVE, path_parameters=known),
        operation.as_strategy(GenerationMode.NEGATIVE, path_parameters=known),
    )

    @FEW
    @given(case=cases)
    def holds(case: Any) -> None:
        with transaction.atomic():
            response = case.call(headers=headers)
            transaction.set_rollback(True)
        case.validate_response(response, checks=CHECKS)

    holds()
