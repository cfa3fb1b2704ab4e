"""Walks every route with another organization's token and ids: in paths, in bodies, in filters. A new route needs a
row in a table here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from api.fields import ReferenceField
from api.root import RESOURCES
from dryrecords.core.ids import new_id
from dryrecords.tenancy.access import Role
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import hold
from tests.api.test_problems import pointers, problem
from tests.factories import Farm
from tests.imports.brought import brought
from tests.settlement import audited

NAMES = [resource.name for resource in RESOURCES]

# Routes that need no token, and say nothing of anybody's records.
OPEN = {"api/v1", "api/v1/schema", "api/v1/docs", "health/live", "health/ready", "metrics"}
# Routes without an id whose answers hold no records of others: what is asked, and what a stranger may find.
WITHOUT_ID = {f"api/v1/{name}": ["GET", "POST"] for name in NAMES} | {
    "api/v1/seasons/<year:season>": ["GET"],
    "api/v1/sync/changes": ["GET"],
    "api/v1/sync/push": ["POST"],
    "api/v1/sync/held": ["GET"],
    "api/v1/readings/bulk": ["POST"],
    "api/v1/samples/bulk": ["POST"],
    "api/v1/imports": ["GET", "POST"],
    "api/v1/statements": ["GET", "POST"],
    "api/v1/audits": ["GET", "POST"],
    "api/v1/meters/comparison": ["GET"],
    **{f"api/v1/grain/{name}": ["POST"] for name in ("shrink", "equilibrium", "air", "airflow", "storage-time")},
}
# Routes with an id in the path, the kind of record it is of, and every method they have.
WITH_ID = (
    {f"api/v1/{name}/<id:id>": (name, ["GET", "PATCH", "DELETE"]) for name in NAMES}
    | {f"api/v1/{name}/<id:id>/history": (name, ["GET"]) for name in NAMES}
    | {f"api/v1/{name}/<id:id>/restore": (name, ["POST"]) for name in NAMES}
    | {
        "api/v1/batches/<id:id>/result": ("batches", ["GET"]),
        "api/v1/sites/<id:id>/seasons/<year:season>": ("sites", ["GET"]),
        # What is held has the id that its device gave it: in these tests that of the farm's sample.
        "api/v1/sync/held/<id:id>": ("samples", ["GET"]),
        "api/v1/sync/held/<id:id>/resubmit": ("samples", ["POST"]),
        "api/v1/sync/held/<id:id>/dismiss": ("samples", ["POST"]),
        # So has an import.
        "api/v1/imports/<id:id>": ("samples", ["GET"]),
        "api/v1/imports/<id:id>/errors.csv": ("samples", ["GET"]),
        # And an audit that of its ticket.
        "api/v1/audits/<id:id>": ("tickets", ["GET"]),
        "api/v1/audits/<id:id>/cancel": ("tickets", ["POST"]),
        "api/v1/audits/<id:id>/findings": ("tickets", ["GET"]),
        "api/v1/audits/<id:id>/findings.csv": ("tickets", ["GET"]),
        "api/v1/dryers/<id:id>/forecast": ("dryers", ["POST"]),
        "api/v1/dryers/<id:id>/forecast-grids": ("dryers", ["POST"]),
        "api/v1/forecast-grids/<id:id>": ("forecast-grids", ["GET"]),
        "api/v1/dryers/<id:id>/calibration": ("dryers", ["GET"]),
        "api/v1/dryers/<id:id>/advice": ("dryers", ["GET"]),
        "api/v1/bins/<id:id>/storage": ("bins", ["GET"]),
        "api/v1/tanks/<id:id>/account": ("tanks", ["GET"]),
        "api/v1/tanks/<id:id>/vaporisation": ("tanks", ["GET"]),
        "api/v1/dryers/<id:id>/power-account": ("dryers", ["GET"]),
        "api/v1/dryers/<id:id>/efficiency": ("dryers", ["GET"]),
        "api/v1/sites/<id:id>/power-account": ("sites", ["GET"]),
        "api/v1/sites/<id:id>/outlook": ("sites", ["GET"]),
        "api/v1/statements/<id:id>": ("statements", ["GET"]),
        "api/v1/statements/<id:id>.html": ("statements", ["GET"]),
        "api/v1/statements/<id:id>.pdf": ("statements", ["GET"]),
        "api/v1/schedules/<id:id>/quote": ("schedules", ["POST"]),
        "api/v1/schedules/<id:id>/table": ("schedules", ["GET"]),
    }
)
REFERENCES = [
    (resource.name, field)
    for resource in RESOURCES
    for field, kind in resource.serializer().fields.items()
    if isinstance(kind, ReferenceField) and field != "id"
]


def routes(patterns: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    for each in patterns:
        address = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from routes(each.url_patterns, address)
        elif isinstance(each, URLPattern):
            yield address, each.callback


OURS = {address: view for address, view in routes(get_resolver().url_patterns) if not address.startswith("admin/")}
# Pages have a walk of their own, tests/office/test_walls.py.
PAGES = {address for address in OURS if not address.startswith(("api/", "health/")) and address != "metrics"}


def test_every_route_has_a_row() -> None:
    assert set(OURS) - PAGES == OPEN | set(WITHOUT_ID) | set(WITH_ID)


@pytest.mark.parametrize("address", sorted({*WITHOUT_ID, *WITH_ID}))
def test_every_method_has_a_row(address: str) -> None:
    methods = WITHOUT_ID.get(address) or WITH_ID[address][1]
    view = OURS[address].cls
    found = {name.upper() for name in ("get", "post", "put", "patch", "delete") if hasattr(view, name)}
    assert found == set(methods)


def id_in(farm: Farm, name: str) -> UUID:
    if name == "forecast-grids":
        return factories.forecast_grid(farm.by, farm["dryers"]).pk
    if name == "statements":
        return factories.statement(farm.by, farm["customers"]).pk
    found: UUID = farm[name].pk
    return found


def path_of(address: str, record_id: UUID | None = None) -> str:
    return "/" + address.replace("<id:id>", str(record_id)).replace("<year:season>", "2025")


@pytest.mark.parametrize("address", sorted({*WITHOUT_ID, *WITH_ID}))
def test_without_a_token_there_is_nothing(address: str, farm: Farm) -> None:
    name, methods = WITH_ID.get(address) or ("customers", WITHOUT_ID[address])
    for method in methods:
        problem(Client().send(method, path_of(address, id_in(farm, name))), 401)


@pytest.mark.parametrize("role", [Role.OWNER, Role.OPERATOR, Role.AUDITOR])
@pytest.mark.parametrize("address", sorted(WITH_ID))
def test_ids_of_others_in_paths(address: str, role: str, farm: Farm) -> None:
    """Not told apart from ids that nobody has, by any role, by any method."""
    name, methods = WITH_ID[address]
    hold(farm)
    brought(farm)
    audited.audit_of(farm)
    stranger = Client(factories.token(factories.organization("Another Invented Drying"), role))
    for method in methods:
        foreign = problem(stranger.send(method, path_of(address, id_in(farm, name)), {}), 404)
        nobodys = problem(stranger.send(method, path_of(address, new_id()), {}), 404)
        assert {**foreign, "request_id": ""} == {**nobodys, "request_id": ""}


@pytest.mark.parametrize(("name", "field"), REFERENCES)
def test_ids_of_others_in_bodies(name: str, field: str, farm: Farm) -> None:
    """Every reference a stranger can post or patch, one at a time, the rest being its own."""
    own = factories.farm(factories.access(factories.organization("Another Invented Drying")))
    stranger = Client(factories.token(factories.organization("Another Invented Drying")))
    body = bodies(own)[name]
    # What is of exactly one of two things.
    other_parent = (
        {"bin": "batch", "ticket": "batch", "site": "dryer"}.get(field)
        if name in ("samples", "power-readings")
        else None
    )
    change = {field: str(farm[f"{field}es" if field == "batch" else f"{field}s"].pk)}
    change |= {other_parent: None} if other_parent else {}
    foreign = pointers(stranger.post(name, body | change))
    assert foreign == {f"/{field}": "unknown_reference"}
    assert pointers(stranger.patch(f"{name}/{own[name].pk}", change)) == foreign
    assert pointers(stranger.post(name, body | change | {field: str(new_id())})) == foreign


@pytest.mark.parametrize("name", NAMES)
def test_ids_of_others_in_filters(name: str, farm: Farm, stranger: Client) -> None:
    resource = next(resource for resource in RESOURCES if resource.name == name)
    assert stranger.get(name).json()["results"] == []
    for parameter, each in resource.parameters.items():
        if isinstance(each.field, ReferenceField):
            found = farm[f"{parameter}es" if parameter == "batch" else f"{parameter}s"].pk
            assert stranger.get(f"{name}?{parameter}={found}").json()["results"] == [], parameter


def test_a_cursor_of_others(farm: Farm, office: Client, stranger: Client) -> None:
    factories.batch(farm.by, farm["dryers"])
    cursor = office.get("batches?limit=1").json()["next_cursor"]
    assert stranger.get(f"batches?cursor={cursor}").json()["results"] == []


def test_seasons_of_others(farm: Farm, stranger: Client) -> None:
    season = stranger.get("seasons/2025").json()
    assert (season["batches"], season["sites"]) == (0, [])
    problem(stranger.get(f"seasons/2025?customer={farm['customers'].pk}"), 404)


def test_nothing_changed(farm: Farm, stranger: Client, office: Client) -> None:
    for name, record in farm.records.items():
        stranger.patch(f"{name}/{record.pk}", {"name": "Mine now"})
        stranger.delete(f"{name}/{record.pk}")
        assert office.get(f"{name}/{record.pk}").json()["version"] == 1
