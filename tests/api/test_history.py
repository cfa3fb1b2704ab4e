"""Who changed what, when and from which device."""

from __future__ import annotations

from typing import Any

import pytest

from dryrecords.tenancy.models import Customer
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm


def test_the_whole_life_of_a_batch(farm: Farm) -> None:
    phone = Client(factories.token(factories.organization(), "operator", device="phone in the yard"))
    body = bodies(farm)["batches"]
    made = phone.post("batches", body, X_Request_ID="first-post")
    path = made["Location"]
    phone.patch(path, {"plenum_temp_f": 190.5, "refills": [], "cutoff_temp_f": None})
    phone.delete(path)
    removed, changed, created = phone.get(f"{path}/history").json()["results"]

    assert [entry["operation"] for entry in (created, changed, removed)] == ["create", "update", "delete"]
    assert [entry["version"] for entry in (created, changed, removed)] == [1, 2, 3]
    assert {entry["device"] for entry in (created, changed, removed)} == {"phone in the yard"}
    assert created["actor"] == "operator token"
    assert created["request_id"] == "first-post"
    assert created["changed_at"].endswith("Z")
    told = {each["field"]: each["after"] for each in created["changes"]}
    assert told == {field: value for field, value in made.json().items() if field in body}
    assert all(each["before"] is None for each in created["changes"])
    assert sorted(changed["changes"], key=lambda each: each["field"]) == [
        {"field": "cutoff_temp_f", "before": 0.1, "after": None},
        {"field": "plenum_temp_f", "before": 180.3, "after": 190.5},
        {"field": "refills", "before": body["refills"], "after": []},
    ]
    assert {each["field"]: each["before"] for each in removed["changes"]} == {
        **{field: value for field, value in told.items() if field != "cutoff_temp_f"},
        "plenum_temp_f": 190.5,
        "refills": [],
    }


def test_prices_are_told_as_they_were_posted(farm: Farm, office: Client) -> None:
    path = f"prices/{farm['prices'].pk}"
    office.patch(path, {"unit_price_usd": "2.10"})
    latest = office.get(f"{path}/history").json()["results"][0]
    assert latest["changes"] == [{"field": "unit_price_usd", "before": "1.85", "after": "2.1"}]


def test_history_is_behind_the_same_door(farm: Farm, stranger: Client) -> None:
    assert stranger.get(f"batches/{farm['batches'].pk}/history").status_code == 404
    # A record of another kind has its own address.
    office = Client(factories.token(factories.organization()))
    assert office.get(f"batches/{farm['lots'].pk}/history").status_code == 404


def test_a_removal_taken_back(farm: Farm, office: Client, stranger: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    made = office.get(path).json()
    office.delete(path)
    assert stranger.post(f"{path}/restore", None).status_code == 404
    assert office.post(f"{path}/restore", None, If_Match='"1"').status_code == 412
    restored = office.post(f"{path}/restore", None, Idempotency_Key="once")
    assert (restored.status_code, restored["ETag"]) == (200, '"3"')
    assert {**restored.json(), "version": 1, "updated_at": made["updated_at"]} == made
    assert office.get(path).json() == restored.json()
    assert len(office.get(f"samples?batch={farm['batches'].pk}").json()["results"]) == 1
    again = office.post(f"{path}/restore", None, Idempotency_Key="once")
    assert (again["Idempotency-Replayed"], again.json()) == ("true", restored.json())
    latest = office.get(f"{path}/history").json()["results"][0]
    assert (latest["operation"], latest["version"]) == ("restore", 3)
    assert {each["field"]: each["after"] for each in latest["changes"]}["wet_mass_lb"] == made["wet_mass_lb"]


def test_a_removal_is_taken_back_parents_first(farm: Farm, office: Client) -> None:
    office.delete(f"batches/{farm['batches'].pk}")
    refused = office.post(f"samples/{farm['samples'].pk}/restore", None)
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:dryrecords:problem:parent_removed")
    assert refused.json()["errors"][0]["pointer"] == "/batch"


def told_to(client: Client, path: str) -> list[tuple[str, int, dict[str, tuple[Any, Any]]]]:
    """Operation, version, and each field before and after; oldest first."""
    entries = client.get(f"{path}/history").json()["results"][::-1]
    return [
        (each["operation"], each["version"], {e["field"]: (e["before"], e["after"]) for e in each["changes"]})
        for each in entries
    ]


@pytest.fixture
def guest(farm: Farm) -> Customer:
    return factories.customer(farm.by, name="Guest")


@pytest.fixture
def readers(farm: Farm, guest: Customer) -> dict[str, Client]:
    """The customer whose the farm is, another one, and who sees everything."""
    of = {"first": ("customer", farm["customers"]), "second": ("customer", guest), "auditor": ("auditor", None)}
    return {name: Client(factories.token(factories.organization(), *asked)) for name, asked in of.items()}


def test_what_was_before_it_was_the_customers_is_not_shown(
    farm: Farm, guest: Customer, readers: dict[str, Client], office: Client, plain: None
) -> None:
    """A lot changes hands with a batch and a sample; as an update that also says something new of the lot."""
    first, second = readers["first"], readers["second"]
    lot, batch, sample = (f"{kind}/{farm[kind].pk}" for kind in ("lots", "batches", "samples"))
    office.patch(batch, {"note": "secret of the first"})
    office.patch(lot, {"name": "Name the first gave"})
    assert len(told_to(first, lot)) == 2
    moved = office.patch(lot, {"customer": str(guest.pk), "name": "Name since then"})
    assert moved.status_code == 200
    office.patch(batch, {"note": "of the second"})

    for path, versions in ((lot, [3]), (batch, [3, 4]), (sample, [2])):
        seen = told_to(second, path)
        assert [version for _, version, _ in seen] == versions
        # The record as it came: nothing of what it was before.
        assert {before for before, _ in seen[0][2].values()} == {None}
        assert first.get(f"{path}/history").status_code == 404
        for reader in (office, readers["auditor"]):
            assert [version for _, version, _ in told_to(reader, path)] == list(range(1, versions[-1] + 1))
    assert told_to(second, lot)[0][2]["name"] == (None, "Name since then")
    assert told_to(second, batch)[1][2] == {"note": ("secret of the first", "of the second")}
    assert "Name the first gave" not in second.get(f"{lot}/history").content.decode()

    # Back again: what the second one had is the second one's.
    office.patch(lot, {"customer": str(farm["customers"].pk)})
    assert [version for _, version, _ in told_to(first, lot)] == [4]
    assert second.get(f"{lot}/history").status_code == 404


def test_what_was_the_organizations_own_is_not_shown(farm: Farm, office: Client) -> None:
    setting = office.post("settings", {"effective_from": "2025-01-01T00:00:00Z", "handling_pct": 0.7})["Location"]
    office.patch(setting, {"customer": str(farm["customers"].pk), "handling_pct": 0.4})
    office.patch(setting, {"handling_pct": 0.3})
    customer = Client(factories.token(factories.organization(), "customer", farm["customers"]))
    came, changed = told_to(customer, setting)
    assert came[2]["handling_pct"] == (None, 0.4)
    assert changed[2] == {"handling_pct": (0.4, 0.3)}
    assert len(told_to(office, setting)) == 3


def test_another_dryer_of_the_same_customer_hides_nothing(farm: Farm, office: Client) -> None:
    batch = office.post("batches", bodies(farm)["batches"] | {"lot": None})["Location"]
    dryer = factories.dryer(farm.by, farm["sites"], name="Third dryer")
    assert office.patch(batch, {"dryer": str(dryer.pk)}).status_code == 200
    customer = Client(factories.token(factories.organization(), "customer", farm["customers"]))
    assert told_to(customer, batch) == told_to(office, batch)
    assert len(told_to(customer, batch)) == 2
