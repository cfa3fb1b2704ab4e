"""What each role may do: owner and office everything, an operator the yard, an auditor and a customer only read."""

from __future__ import annotations

import pytest

from dryrecords.tenancy.access import YARD, Role
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.test_problems import problem
from tests.factories import Farm

# What a customer never sees: it is the organization's own.
NOT_A_CUSTOMERS = {"meters", "schedules"}


def client_of(role: str, farm: Farm) -> Client:
    return Client(factories.token(factories.organization(), role, farm["customers"] if role == "customer" else None))


@pytest.mark.parametrize("role", Role.values)
def test_who_may_write_what(role: str, farm: Farm) -> None:
    client = client_of(role, farm)
    for name, body in bodies(farm).items():
        may = role in ("owner", "office") or (role == "operator" and name in YARD)
        hidden = role == "customer" and name in NOT_A_CUSTOMERS
        answer = client.post(name, body)
        assert answer.status_code == (201 if may else 403), (name, answer.content)
        if not may:
            path = f"{name}/{farm[name].pk}"
            problem(client.patch(path, {}), 404 if hidden else 403)
            problem(client.patch(path, {"no such field": 1}), 404 if hidden else 403)
            problem(client.delete(path), 404 if hidden else 403)


@pytest.mark.parametrize("role", Role.values)
def test_who_may_read_what(role: str, farm: Farm) -> None:
    client = client_of(role, farm)
    for name, record in farm.records.items():
        hidden = role == "customer" and name in NOT_A_CUSTOMERS
        assert len(client.get(name).json()["results"]) == (0 if hidden else 1), name
        for path in (f"{name}/{record.pk}", f"{name}/{record.pk}/history"):
            assert client.get(path).status_code == (404 if hidden else 200), path


def test_a_customer_sees_its_own_only(farm: Farm) -> None:
    other = factories.customer(farm.by, name="Neighbour")
    client = Client(factories.token(factories.organization(), "customer", other))
    for name, record in farm.records.items():
        own = [str(other.pk)] if name == "customers" else []
        assert [row["id"] for row in client.get(name).json()["results"]] == own, name
        problem(client.get(f"{name}/{record.pk}"), 404)
        problem(client.get(f"{name}/{record.pk}/history"), 404)
    assert client.get(f"batches/{farm['batches'].pk}/result").status_code == 404
    assert client.get(f"sites/{farm['sites'].pk}/seasons/2025").status_code == 404
    assert client.get("seasons/2025").json()["sites"] == []
    assert client.get(f"seasons/2025?customer={farm['customers'].pk}").status_code == 404


def test_a_revoked_token_is_none(farm: Farm) -> None:
    from dryrecords.tenancy.models import Token
    from dryrecords.tenancy.services import digest_of, token_revoke

    text = factories.token(factories.organization())
    assert Client(text).get("customers").status_code == 200
    token_revoke(Token.objects.get(digest=digest_of(text)).pk)
    problem(Client(text).get("customers"), 401)
