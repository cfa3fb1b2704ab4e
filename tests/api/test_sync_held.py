"""What could not be applied: looked at, corrected, dismissed, and tried again when what it waited for is there."""

from __future__ import annotations

from typing import Any

import pytest

from api.tasks import try_held
from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Sample
from dryrecords.tenancy import bulk, services
from dryrecords.tenancy.access import Role
from dryrecords.tenancy.models import Token
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import mutation, push, sample_of
from tests.api.test_problems import pointers, problem
from tests.factories import Farm


def waiting_sample(client: Client, farm: Farm) -> tuple[dict[str, Any], dict[str, Any]]:
    """A held sample, and the batch it waits for."""
    batch = mutation("batches", bodies(farm)["batches"])
    sample = sample_of(batch)
    assert push(client, sample)[0]["status"] == "held"
    return sample, batch


def device(role: str, name: str) -> Client:
    return Client(factories.token(factories.organization(), role, device=name))


def test_the_whole_payload_who_when_and_why(farm: Farm) -> None:
    yard = device(Role.OPERATOR, "yard tablet")
    sent = mutation("samples", {"moisture_pct": 99.0, "odd": ["\0", {"deep": [1.50]}]}, base_version=7)
    response = yard.post("sync/push", {"mutations": [sent], "sent_at": "2025-10-08T06:00:00-05:00"}).json()
    kept = yard.get(f"sync/held/{sent['id']}").json()
    for name in ("resource", "op", "record", "base_version", "id"):
        assert kept[name] == sent[name]
    assert kept["problem"] == response["results"][0]["problem"]
    assert (kept["device"], kept["actor"], kept["status"]) == ("yard tablet", "operator token", "held")
    assert kept["sent_at"] == "2025-10-08T11:00:00Z"
    assert kept["received_at"] == response["received_at"]


def test_the_list_is_narrowed_and_paged(farm: Farm, office: Client) -> None:
    one, two = device(Role.OPERATOR, "one"), device(Role.OPERATOR, "two")
    sent = [mutation("samples", {}) for _ in range(3)]
    for each in sent:
        push(one, each)
    other = mutation("batches", {})
    push(two, other)
    found = [each["id"] for each in office.get("sync/held").json()["results"]]
    assert found == [other["id"], *(each["id"] for each in reversed(sent))]
    for query, count in (("device=one", 3), ("device=two", 1), ("resource=batches", 1), ("status=conflict", 0)):
        assert len(office.get(f"sync/held?{query}").json()["results"]) == count, query
    page = office.get("sync/held?limit=3").json()
    assert [each["id"] for each in office.get(page["next"].partition("testserver")[2]).json()["results"]] == found[3:]
    assert pointers(office.get("sync/held?status=applied")) == {"/status": "invalid_choice"}


def test_corrected_and_resubmitted(farm: Farm, office: Client) -> None:
    yard = device(Role.OPERATOR, "yard tablet")
    sent = mutation("samples", bodies(farm)["samples"] | {"moisture_pct": 99.0})
    push(yard, sent)
    path = f"sync/held/{sent['id']}"
    assert office.post(f"{path}/resubmit", {}).json()["status"] == "held"
    good = sent["record"] | {"moisture_pct": 19.0}
    result = office.post(f"{path}/resubmit", {"record": good}).json()
    assert (result["status"], result["record_id"], result["version"]) == ("applied", sent["record"]["id"], 1)
    kept = office.get(path).json()
    assert (kept["status"], kept["settled_by"], kept["record"]) == ("applied", "owner token", good)
    assert [each["record"] for each in kept["earlier"]] == [sent["record"]]
    assert office.get("sync/held").json()["results"] == []
    history = office.get(f"samples/{sent['record']['id']}/history").json()["results"]
    assert [each["actor"] for each in history] == ["owner token"]
    # The device does not know of the correction, and is told that its mutation is settled.
    [again] = push(yard, sent)
    assert (again["status"], again["problem"], again["record_id"]) == ("duplicate", None, sent["record"]["id"])
    assert office.post(f"{path}/resubmit", {}).json()["status"] == "duplicate"
    assert Sample.objects.get(pk=sent["record"]["id"]).moisture_pct == 19.0


def test_a_conflict_is_resubmitted_on_the_new_version(farm: Farm, office: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    office.patch(path, {"note": "office"})
    sent = mutation("batches", {"id": str(farm["batches"].pk), "note": "yard"}, "update", base_version=1)
    push(office, sent)
    result = office.post(f"sync/held/{sent['id']}/resubmit", {"base_version": 2}).json()
    assert (result["status"], result["version"]) == ("applied", 3)


def test_dismissed(farm: Farm, office: Client) -> None:
    sample, batch = waiting_sample(office, farm)
    path = f"sync/held/{sample['id']}"
    kept = office.send("POST", f"{path}/dismiss").json()
    assert (kept["status"], kept["settled_by"]) == ("dismissed", "owner token")
    assert kept["settled_at"] is not None
    assert office.send("POST", f"{path}/dismiss").json() == kept
    assert office.get("sync/held").json()["results"] == []
    push(office, batch)
    [again] = push(office, sample)
    assert (again["status"], again["problem"]["type"]) == ("held", "urn:dryrecords:problem:dismissed")
    assert not Sample.objects.filter(pk=sample["record"]["id"]).exists()


def test_roles(farm: Farm, office: Client) -> None:
    prices = mutation("prices", bodies(farm)["prices"])
    readings = mutation("readings", bodies(farm)["readings"])
    yard = device(Role.OPERATOR, "yard tablet")
    [price, reading] = push(yard, prices, readings)
    assert (price["status"], price["problem"]["type"]) == ("held", "urn:dryrecords:problem:role_not_allowed")
    assert reading["status"] == "applied"
    for role in (Role.AUDITOR, Role.OPERATOR):
        client = device(role, "other")
        assert len(client.get("sync/held").json()["results"]) == 1
        for act in ("resubmit", "dismiss"):
            problem(client.post(f"sync/held/{prices['id']}/{act}", {}), 403)
    customer = Client(factories.token(factories.organization(), Role.CUSTOMER, farm["customers"]))
    problem(customer.get("sync/held"), 403)
    problem(customer.get(f"sync/held/{prices['id']}"), 403)
    assert push(customer, mutation("samples", bodies(farm)["samples"]))[0]["status"] == "held"
    assert office.post(f"sync/held/{prices['id']}/resubmit", {}).json()["status"] == "applied"


def test_it_is_applied_as_who_sent_it(farm: Farm, office: Client) -> None:
    sample, batch = waiting_sample(device(Role.OPERATOR, "yard tablet"), farm)
    push(office, batch)
    [change] = office.get(f"samples/{sample['record']['id']}/history").json()["results"]
    assert (change["actor"], change["device"]) == ("operator token", "yard tablet")


def test_not_for_a_token_that_was_revoked_meanwhile(farm: Farm, office: Client) -> None:
    sample, batch = waiting_sample(device(Role.OPERATOR, "lost tablet"), farm)
    services.token_revoke(Token.objects.get(device="lost tablet").pk)
    push(office, batch)
    assert not Sample.objects.filter(pk=sample["record"]["id"]).exists()
    assert office.post(f"sync/held/{sample['id']}/resubmit", {}).json()["status"] == "applied"


@pytest.mark.parametrize("way", ["posted", "restored", "otherwise"])
def test_the_batch_comes_another_way(
    way: str, farm: Farm, office: Client, django_capture_on_commit_callbacks: Any
) -> None:
    sample, batch = waiting_sample(office, farm)
    if way == "restored":
        push(office, batch | {"record": batch["record"]})
        office.delete(f"batches/{batch['record']['id']}")
        sample = sample_of(batch)
        assert push(office, sample)[0]["status"] == "held"
    with django_capture_on_commit_callbacks(execute=True):
        if way == "posted":
            assert office.post("batches", batch["record"]).status_code == 201
        elif way == "restored":
            assert office.send("POST", f"batches/{batch['record']['id']}/restore").status_code == 200
        else:
            factories.batch(farm.by, farm["dryers"], id=batch["record"]["id"])
            try_held()
    assert office.get(f"samples/{sample['record']['id']}").status_code == 200
    assert office.get("sync/held").json()["results"] == []


def test_the_batch_comes_while_its_sample_is_looked_at(farm: Farm, office: Client, monkeypatch: Any) -> None:
    batch = mutation("batches", bodies(farm)["batches"])
    look = bulk.missing_references

    def look_and_then(*args: Any) -> Any:
        monkeypatch.undo()
        missing = look(*args)
        push(office, batch)
        return missing

    monkeypatch.setattr(bulk, "missing_references", look_and_then)
    sample = sample_of(batch)
    push(office, sample)
    assert office.get(f"sync/held/{sample['id']}").json()["status"] == "applied"
    assert office.get(f"samples/{sample['record']['id']}").status_code == 200


def test_what_waits_for_nothing_that_comes_is_left_alone(farm: Farm, office: Client) -> None:
    sample, _ = waiting_sample(office, farm)
    before = office.get(f"sync/held/{sample['id']}").json()
    try_held()
    assert office.get(f"sync/held/{sample['id']}").json() == before


def test_nothing_of_other_organizations(farm: Farm, office: Client, stranger: Client) -> None:
    sample, batch = waiting_sample(office, farm)
    assert stranger.get("sync/held").json()["results"] == []
    # The same ids in another organization are other mutations, and other records' ids are taken.
    [mine] = push(stranger, sample)
    assert (mine["status"], mine["problem"]["errors"][0]["code"]) == ("held", "unknown_reference")
    push(office, batch)
    [taken] = push(stranger, mutation("customers", {"id": str(farm["customers"].pk), "name": "Mine now"}))
    assert (taken["status"], taken["record"], taken["problem"]["errors"][0]["code"]) == ("held", None, "id_taken")
    for op, record in (("update", {"id": str(farm["customers"].pk), "name": "Mine"}), ("delete", batch["record"])):
        [unseen] = push(stranger, mutation("customers", record, op))
        assert (unseen["status"], unseen["problem"]["status"], unseen["record"]) == ("held", 404, None)
    nobodys = push(stranger, mutation("customers", {"id": str(new_id()), "name": "Mine"}, "update"))[0]
    assert nobodys["problem"] == unseen["problem"]
