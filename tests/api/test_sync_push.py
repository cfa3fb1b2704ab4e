"""Pushing what was written offline: in any order, however often, good and bad together."""

from __future__ import annotations

from typing import Any

import orjson
import pytest

from api.quick_reader import QuickReader
from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Batch, Sample
from dryrecords.journal.models import Change, Mutation, StaleMark
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import mutation, push, sample_of, told
from tests.factories import Farm


def test_samples_before_their_batch(farm: Farm, office: Client) -> None:
    batch = mutation("batches", bodies(farm)["batches"])
    results = push(office, sample_of(batch), batch, sample_of(batch))
    assert [told(each) for each in results] == [("applied", {})] * 3
    assert [each["version"] for each in results] == [1, 1, 1]
    assert len(office.get(f"samples?batch={batch['record']['id']}").json()["results"]) == 2
    assert Mutation.objects.count() == 3


def test_every_kind_in_one_push_backwards(farm: Farm, office: Client) -> None:
    sent = [mutation(name, body) for name, body in bodies(farm).items()]
    results = push(office, *reversed(sent))
    assert [told(each) for each in results] == [("applied", {})] * len(sent)
    for each, result in zip(reversed(sent), results, strict=True):
        assert result["record_id"] == each["record"]["id"]
        there = office.get(f"{each['resource']}/{result['record_id']}").json()
        assert {name: there[name] for name in each["record"]} == each["record"]


@pytest.mark.parametrize("given", ["all", "null", "least"])
@pytest.mark.parametrize("name", ["samples", "readings", "fuel-readings", "power-readings"])
def test_the_quick_way_and_the_serializer_make_the_same_record(
    name: str, given: str, farm: Farm, office: Client
) -> None:
    body = bodies(farm)[name]
    needed = {"batch", "stage", "taken_at", "at", "moisture_pct", "tank", "volume_gal", "dryer", "meter_kwh"}
    if given != "all":
        body = {k: v if k in needed else None for k, v in body.items() if k in needed or given == "null"}
    [result] = push(office, mutation(name, body))
    pushed = office.get(f"{name}/{result['record_id']}").json()
    posted = office.post(name, body).json()
    stamps = {"id", "created_at", "updated_at"}
    assert {k: v for k, v in pushed.items() if k not in stamps} == {k: v for k, v in posted.items() if k not in stamps}


def test_a_mutation_happens_once(farm: Farm, office: Client) -> None:
    batch = mutation("batches", bodies(farm)["batches"])
    sample = sample_of(batch)
    first = push(office, batch, sample, sample)
    assert [each["status"] for each in first] == ["applied", "applied", "duplicate"]
    again = push(office, sample, batch)
    assert [each["status"] for each in again] == ["duplicate"] * 2
    assert again == [first[1] | {"status": "duplicate"}, first[0] | {"status": "duplicate"}]
    assert Sample.objects.filter(pk=sample["record"]["id"]).count() == 1
    assert Change.objects.filter(record_id=sample["record"]["id"]).count() == 1


def test_without_an_id_of_its_own_a_record_is_made_once(farm: Farm, office: Client) -> None:
    sent = {"id": str(new_id()), "resource": "samples", "op": "create", "record": bodies(farm)["samples"]}
    [first], [again] = push(office, sent), push(office, sent)
    assert (first["status"], again["status"]) == ("applied", "duplicate")
    assert first["record_id"] == again["record_id"]
    assert Sample.objects.count() == 2


def test_good_and_bad_together(farm: Farm, office: Client) -> None:
    batch = mutation("batches", bodies(farm)["batches"])
    bad = {
        "/record/moisture_pct": sample_of(batch, moisture_pct=99.0),
        "/record/taken_at": sample_of(batch, taken_at="yesterday"),
        "/record/stage": sample_of(batch, stage="raw"),
        "/record/nothing": sample_of(batch, nothing=1),
        "/record/tested_at": sample_of(batch, tested_at="2025-10-08T10:00:00Z"),
        "/record/batch": sample_of(batch, batch=str(new_id())),
        "/record/mass_basis": mutation("batches", bodies(farm)["batches"] | {"mass_basis": "guess"}),
        "/resource": mutation("silos", {}),
        "/op": mutation("samples", {}, op="merge"),
        "/base_version": sample_of(batch) | {"op": "update", "base_version": "1"},
        "/record/id": mutation("samples", {"moisture_pct": 12.0}, op="update"),
        "/record": mutation("samples", {}) | {"record": None},
    }
    results = push(office, *bad.values(), batch, sample_of(batch))
    for (pointer, sent), result in zip(bad.items(), results, strict=False):
        status, errors = told(result)
        assert (status, list(errors)) == ("held", [pointer]), result
        assert result["problem"]["type"].startswith("urn:dryrecords:problem:")
        assert office.get(f"sync/held/{sent['id']}").json()["record"] == sent["record"]
    assert [each["status"] for each in results[-2:]] == ["applied", "applied"]
    assert len(office.get("sync/held").json()["results"]) == len(bad)


def test_a_rule_that_only_the_database_knows_spoils_nothing_else(farm: Farm, office: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr("api.quick_reader.rules_of", lambda model: ())
    monkeypatch.setattr("api.push_run.quick_reader", lambda resource: QuickReader(resource.serializer))
    good = [mutation("samples", bodies(farm)["samples"]) for _ in range(4)]
    bad = mutation("samples", bodies(farm)["samples"] | {"batch": None})
    results = push(office, *good[:2], bad, *good[2:])
    assert [each["status"] for each in results] == ["applied", "applied", "held", "applied", "applied"]
    assert told(results[2]) == ("held", {"/record/batch": "one_parent"})


def test_corrections_and_removals(farm: Farm, office: Client) -> None:
    batch = mutation("batches", bodies(farm)["batches"])
    batch_id = batch["record"]["id"]
    sample = sample_of(batch)
    edits = [
        mutation("batches", {"id": batch_id, "note": "third"}, "update", base_version=2),
        mutation("batches", {"id": batch_id, "note": "second"}, "update", base_version=1),
        mutation("samples", {"id": sample["record"]["id"]}, "delete", base_version=1),
    ]
    results = push(office, *edits, batch, sample)
    assert [(each["status"], each["version"]) for each in results] == [
        ("applied", 3),
        ("applied", 2),
        ("applied", 2),
        ("applied", 1),
        ("applied", 1),
    ]
    assert office.get(f"batches/{batch_id}").json()["note"] == "third"
    assert office.get(f"samples/{sample['record']['id']}").status_code == 404
    assert [each["status"] for each in push(office, *edits)] == ["duplicate"] * 3
    [gone] = push(office, mutation("samples", {"id": sample["record"]["id"]}, "delete"))
    assert (gone["status"], gone["version"]) == ("duplicate", 2)


def test_a_conflict_shows_the_servers_record_and_keeps_both(farm: Farm, office: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    office.patch(path, {"note": "office"})
    sent = mutation("batches", {"id": str(farm["batches"].pk), "note": "yard"}, "update", base_version=1)
    [result] = push(office, sent)
    assert (result["status"], result["version"]) == ("conflict", 2)
    assert result["record"] == office.get(path).json()
    assert result["record"]["note"] == "office"
    assert push(office, sent) == [result]
    [kept] = office.get("sync/held?status=conflict").json()["results"]
    assert (kept["id"], kept["record"], kept["base_version"]) == (sent["id"], sent["record"], 1)
    assert office.get("sync/held").json()["results"] == []
    [result] = push(office, sent | {"base_version": 2})
    assert (result["status"], result["version"]) == ("applied", 3)
    history = office.get(f"{path}/history").json()["results"]
    assert history[0]["changes"] == [{"field": "note", "before": "office", "after": "yard"}]
    assert office.get(f"sync/held/{sent['id']}").json()["earlier"][0]["base_version"] == 1


def test_corrections_of_many_records_together(farm: Farm, office: Client) -> None:
    """Good and bad ones, among them one that comes to belong to another customer."""
    batches = [factories.batch(farm.by, farm["dryers"], lot_id=farm["lots"].pk) for _ in range(6)]
    other_lot = factories.lot(farm.by, factories.customer(farm.by, name="East Field Farm"))
    office.patch(f"batches/{batches[1].pk}", {"note": "office"})
    office.patch(f"batches/{batches[2].pk}", {"note": "yard"})
    office.delete(f"batches/{batches[3].pk}")
    changes: list[dict[str, Any]] = [
        {"note": "yard", "wet_mass_lb": 50_000.0},
        {"note": "yard"},
        {"note": "yard"},
        {"note": "yard"},
        {"wet_mass_lb": -1.0},
        {"lot": str(other_lot.pk), "note": "yard"},
    ]
    sent = [
        mutation("batches", {"id": str(batch.pk)} | change, "update", base_version=1)
        for batch, change in zip(batches, changes, strict=True)
    ]
    waiting = mutation("batches", {"id": str(batches[0].pk), "bin": str(new_id())}, "update", base_version=2)
    unknown = mutation("batches", {"id": str(new_id()), "note": "yard"}, "update")
    results = push(office, *sent, waiting, unknown)
    assert [(each["status"], each["version"]) for each in results] == [
        ("applied", 2),
        ("conflict", 2),
        ("duplicate", 2),
        ("conflict", 2),
        ("held", None),
        ("applied", 2),
        ("held", None),
        ("held", None),
    ]
    assert told(results[4])[1] == {"/record/wet_mass_lb": "out_of_range"}
    assert told(results[6])[1] == {"/record/bin": "unknown_reference"}
    assert results[1]["record"]["note"] == "office"
    [change] = office.get(f"batches/{batches[0].pk}/history").json()["results"][:1]
    assert {each["field"] for each in change["changes"]} == {"note", "wet_mass_lb"}
    assert StaleMark.objects.get(kind="batch", key=str(batches[0].pk)).wanted == 2
    customer = Client(factories.token(factories.organization(), "customer", farm["customers"]))
    assert customer.get(f"batches/{batches[5].pk}").status_code == 404
    gone = [c for c in customer.get("sync/changes?limit=5000").json()["changes"] if c["id"] == str(batches[5].pk)]
    assert gone[-1]["op"] == "delete"


def test_a_correction_that_only_the_database_refuses(farm: Farm, office: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr("api.record_serializer.broken_rules", lambda record: [])
    batches = [factories.batch(farm.by, farm["dryers"]) for _ in range(3)]
    ends = ["2025-10-06T17:00:00Z", "2020-01-01T00:00:00Z", "2025-10-06T17:00:00Z"]
    sent = [
        mutation("batches", {"id": str(batch.pk), "drying_ended_at": end}, "update")
        for batch, end in zip(batches, ends, strict=True)
    ]
    results = push(office, *sent)
    assert [each["status"] for each in results] == ["applied", "held", "applied"]
    assert told(results[1])[1] == {"/record/drying_ended_at": "times_out_of_order"}


def test_rules_that_look_at_other_records(farm: Farm, office: Client) -> None:
    """A batch is of its lot's crop, a reading of its tank's fuel: by a post, and so by a push, of new ones and old."""
    batches = [mutation("batches", bodies(farm)["batches"]) for _ in range(5)]
    batches[3]["record"]["crop"] = "wheat"
    gas = mutation("fuel-readings", {"tank": str(farm["tanks"].pk), "at": "2025-10-08T12:00:00Z", "meter_therm": 5.0})
    results = push(office, *batches, gas)
    assert [each["status"] for each in results] == ["applied"] * 3 + ["held", "applied", "held"]
    assert told(results[3])[1] == {"/record/lot": "other_crop"}
    assert told(results[5])[1] == {"/record/meter_therm": "other_fuel"}
    changes = [
        mutation(
            "batches",
            {"id": each["record"]["id"], "crop": "wheat" if each is batches[1] else "corn", "note": "n"},
            "update",
        )
        for each in batches[:3]
    ]
    assert [told(each) for each in push(office, *changes)] == [
        ("applied", {}),
        ("held", {"/record/lot": "other_crop"}),
        ("applied", {}),
    ]


def test_a_removed_record_is_not_changed(farm: Farm, office: Client) -> None:
    office.delete(f"samples/{farm['samples'].pk}")
    [result] = push(office, mutation("samples", {"id": str(farm["samples"].pk), "moisture_pct": 12.0}, "update"))
    assert (result["status"], result["version"], result["record"]) == ("conflict", 2, None)
    assert result["problem"]["type"].endswith("record_removed")


def test_another_content_under_the_same_id(farm: Farm, office: Client) -> None:
    sent = mutation("samples", bodies(farm)["samples"])
    push(office, sent)
    other = sent | {"record": sent["record"] | {"moisture_pct": 11.0}}
    [result] = push(office, other)
    assert (result["status"], result["problem"]["type"]) == ("conflict", "urn:dryrecords:problem:mutation_id_reused")
    assert result["record"]["moisture_pct"] == 15.13
    assert Sample.objects.get(pk=sent["record"]["id"]).moisture_pct == 15.13
    assert [orjson.loads(text) for text in Mutation.objects.get().earlier] == [other | {"base_version": None}]
    shuffled = sent | {"record": dict(reversed(sent["record"].items()))}
    assert push(office, shuffled)[0]["status"] == "duplicate"
    two = mutation("samples", bodies(farm)["samples"])
    results = push(office, two, two | {"op": "delete"})
    assert [each["status"] for each in results] == ["applied", "conflict"]


def test_the_same_record_under_two_ids(farm: Farm, office: Client) -> None:
    one = mutation("samples", bodies(farm)["samples"])
    twin = one | {"id": str(new_id())}
    other = one | {"id": str(new_id()), "record": one["record"] | {"moisture_pct": 11.0}}
    results = push(office, one, twin, other)
    assert [each["status"] for each in results] == ["applied", "duplicate", "conflict"]
    assert results[2]["record"]["moisture_pct"] == 15.13
    assert [each["status"] for each in push(office, one, twin, other)] == ["duplicate", "duplicate", "conflict"]


def test_an_update_waits_for_its_record(farm: Farm, office: Client) -> None:
    batch = mutation("batches", bodies(farm)["batches"])
    update = mutation("batches", {"id": batch["record"]["id"], "note": "later"}, "update")
    [result] = push(office, update)
    assert (result["status"], result["problem"]["status"]) == ("held", 404)
    push(office, batch)
    assert Batch.objects.get(pk=batch["record"]["id"]).note == "later"
    assert push(office, update)[0]["status"] == "duplicate"


def test_a_chain_of_things_that_wait(farm: Farm, office: Client) -> None:
    lot = mutation("lots", bodies(farm)["lots"] | {"crop": "corn"})
    batch = mutation("batches", bodies(farm)["batches"] | {"lot": lot["record"]["id"]})
    sample = sample_of(batch)
    for each in (sample, batch):
        assert push(office, each)[0]["status"] == "held"
    assert office.get(f"sync/held/{sample['id']}").json()["waiting_for"] == [batch["record"]["id"]]
    assert push(office, lot)[0]["status"] == "applied"
    assert office.get("sync/held").json()["results"] == []
    assert office.get(f"samples/{sample['record']['id']}").status_code == 200


def test_a_rule_between_records_holds_only_what_breaks_it(farm: Farm, office: Client) -> None:
    good = mutation("batches", bodies(farm)["batches"])
    other_crop = mutation("batches", bodies(farm)["batches"] | {"crop": "wheat"})
    assert [each["status"] for each in push(office, good, other_crop)] == ["applied", "held"]
    kept = office.get(f"sync/held/{other_crop['id']}").json()
    assert [(each["pointer"], each["code"]) for each in kept["problem"]["errors"]] == [("/record/lot", "other_crop")]


def test_what_is_held_is_tried_again_when_it_is_sent_again(farm: Farm, office: Client) -> None:
    sent = mutation("samples", bodies(farm)["samples"] | {"moisture_pct": 99.0})
    assert push(office, sent)[0]["status"] == "held"
    assert push(office, sent)[0]["status"] == "held"
    good = sent | {"record": sent["record"] | {"moisture_pct": 19.0}}
    assert push(office, good)[0]["status"] == "applied"
    kept = office.get(f"sync/held/{sent['id']}").json()
    assert (kept["status"], kept["problem"]) == ("applied", None)
    assert [each["record"] for each in kept["earlier"]] == [sent["record"]]
