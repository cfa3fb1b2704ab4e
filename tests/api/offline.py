"""Writes mutations as a device does that was offline, and pushes them."""

from __future__ import annotations

from typing import Any

from dryrecords.core.ids import new_id
from tests import factories
from tests.api.client import Client
from tests.factories import Farm


def mutation(resource: str, record: dict[str, Any], op: str = "create", **more: Any) -> dict[str, Any]:
    if op == "create":
        record = {"id": str(new_id())} | record
    return {"id": str(new_id()), "resource": resource, "op": op, "record": record} | more


def push(client: Client, *mutations: dict[str, Any], **more: Any) -> list[dict[str, Any]]:
    response = client.post("sync/push", {"mutations": list(mutations)} | more)
    assert response.status_code == 200, response.content
    return response.json()["results"]


def told(result: dict[str, Any]) -> Any:
    """Status and what was wrong."""
    return result["status"], {e["pointer"]: e["code"] for e in (result["problem"] or {"errors": []})["errors"]}


def sample_of(filling: dict[str, Any], **more: Any) -> dict[str, Any]:
    given = {"batch": filling["record"]["id"], "stage": "wet", "taken_at": "2025-10-08T13:30:00Z", "moisture_pct": 20.0}
    return mutation("samples", given | more)


def hold(farm: Farm) -> str:
    """A mutation of the farm's that cannot be applied; it has the id of the farm's sample."""
    client = Client(factories.token(factories.organization()))
    sent = mutation("samples", {"stage": "wet"}) | {"id": str(farm["samples"].pk)}
    assert push(client, sent)[0]["status"] == "held"
    return str(sent["id"])
