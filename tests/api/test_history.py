"""Who changed what, when and from which device."""

from __future__ import annotations

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
