"""The OpenAPI document is valid, tells the truth, and can be looked at without a network."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client as DjangoClient
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.examples import EXAMPLES
from api.resources import Resource
from api.root import RESOURCES
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm


@pytest.fixture(scope="module")
def document() -> Any:
    return DjangoClient().get("/api/v1/schema").json()


def test_it_is_valid(document: Any) -> None:
    assert document["openapi"].startswith("3.1")
    assert [error.message for error in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_every_operation_says_how_it_refuses(document: Any) -> None:
    ids = []
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            ids.append(operation["operationId"])
            refusals = {code for code in operation["responses"] if code.startswith("4")}
            needed = {"422"} | ({"401"} if operation["security"] else set()) | ({"404"} if "{id}" in path else set())
            assert needed <= refusals, (method, path)
            bodied = method in ("post", "patch") and not path.endswith(("/restore", "/dismiss", "/cancel"))
            assert bodied == ("requestBody" in operation)
            assert {each["name"] for each in operation["parameters"] if each["in"] == "path"} == set(
                re.findall(r"{(\w+)}", path)
            )
    assert len(ids) == len(set(ids))
    assert len(document["paths"]) == 4 * len(RESOURCES) + 44


@pytest.mark.parametrize("name", [resource.name for resource in RESOURCES])
def test_required_and_nullable_are_as_they_are(name: str, document: Any, farm: Farm, office: Client) -> None:
    """What the document requires cannot be left out, the rest can; null is taken where it says so."""
    body = bodies(farm)[name]
    reference = document["paths"][f"/api/v1/{name}"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    schema = document["components"]["schemas"][reference["$ref"].rpartition("/")[2]]
    assert set(schema["properties"]) == {"id", *body}
    for field in body:
        codes = {
            error["code"]
            for without in ({k: v for k, v in body.items() if k != field}, body | {field: None})
            for error in office.post(name, without).json().get("errors", [])
            if error["pointer"] == f"/{field}"
        }
        assert ("required" in codes) == (field in schema["required"]), field
        kinds = [each.get("type") for each in schema["properties"][field].get("oneOf", [schema["properties"][field]])]
        assert ("null" in codes) == ("null" not in str(kinds)), field


def test_the_page_needs_no_network(db: None) -> None:
    page = DjangoClient().get("/api/v1/docs")
    assert page.status_code == 200
    html = page.content.decode()
    assert "/api/v1/schema" in html
    assert not re.findall(r"""(?:src|href)=["'](?:https?:)?//[^"']+""", html)
    assets = re.findall(r"""(?:src|href)=["'](/[^"']+\.(?:js|css|png))""", html)
    assert len(assets) >= 2
    for asset in assets:
        assert DjangoClient().get(asset).status_code == 200, asset


def test_the_root_lists_the_resources(db: None) -> None:
    root = Client().get("")
    assert root.status_code == 200
    assert [each["name"] for each in root.json()["resources"]] == [resource.name for resource in RESOURCES]
    assert all(each["description"] for each in root.json()["resources"])


@pytest.mark.parametrize("resource", RESOURCES, ids=lambda resource: resource.name)
def test_body_to_begin_with_is_a_valid_one(resource: Resource) -> None:
    serializer = resource.serializer(data=EXAMPLES[resource.name])
    assert serializer.is_valid(), serializer.errors
