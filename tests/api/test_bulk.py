"""Thousands of rows in one call: the right ones land, and of each it is told what came of it."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.landing import Landing
from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Reading, Sample
from dryrecords.journal.models import Change, StaleMark
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.factories import Farm


def bulk(client: Client, name: str, body: Any, **headers: str) -> dict[str, Any]:
    response = client.post(f"{name}/bulk", body, **headers)
    assert response.status_code == 200, response.content
    told: dict[str, Any] = response.json()
    assert [each["index"] for each in told["results"]] == list(range(len(told["results"])))
    counts = {"created": told["created"], "duplicate": told["duplicates"], "refused": told["refused"]}
    for status, count in counts.items():
        assert sum(each["status"] == status for each in told["results"]) == count
    return told


def statuses(told: dict[str, Any]) -> list[Any]:
    """Status and code by pointer of each row."""
    return [
        (each["status"], {error["pointer"]: error["code"] for error in each["errors"]})
        if each["errors"]
        else each["status"]
        for each in told["results"]
    ]


def reading(farm: Farm, minute: int, **more: Any) -> dict[str, Any]:
    at = f"2025-10-{minute // 1440 + 8:02}T{minute // 60 % 24:02}:{minute % 60:02}:00Z"
    return {"batch": str(farm["batches"].pk), "at": at, "plenum_temp_f": 180.5, "burner": "low"} | more


def test_the_right_rows_land_and_the_wrong_ones_are_told(farm: Farm, office: Client) -> None:
    taken, mine = str(farm["readings"].pk), str(new_id())
    rows = [
        reading(farm, 0),
        reading(farm, 1, plenum_temp_f=9999),
        reading(farm, 2, batch=str(new_id())),
        reading(farm, 3, colour="red"),
        7,
        reading(farm, 4, id=mine),
        reading(farm, 5, id=taken),
        reading(farm, 6, plenum_temp_f="hot", burner="roaring"),
        reading(farm, 0),
        reading(farm, 4, id=mine),
    ]
    told = bulk(office, "readings", rows)
    assert statuses(told) == [
        "created",
        ("refused", {"/plenum_temp_f": "out_of_range"}),
        ("refused", {"/batch": "unknown_reference"}),
        ("refused", {"/colour": "unknown_field"}),
        ("refused", {"": "invalid"}),
        "created",
        ("refused", {"/id": "id_taken"}),
        ("refused", {"/plenum_temp_f": "not_a_number", "/burner": "invalid_choice"}),
        "duplicate",
        "duplicate",
    ]
    results = told["results"]
    assert results[0]["id"] == results[8]["id"]
    assert results[5]["id"] == results[9]["id"] == mine
    assert Reading.objects.count() == 3
    assert office.get(f"readings/{results[0]['id']}").json()["plenum_temp_f"] == 180.5
    assert Change.objects.filter(record_id=mine).get().device == "tablet"
    # Sent again, nothing is doubled.
    again = bulk(office, "readings", rows)
    assert (again["created"], again["duplicates"], again["refused"]) == (0, 4, 6)
    assert [each["id"] for each in again["results"]] == [each["id"] for each in results]


def test_refused_rows_are_held_and_can_be_corrected(farm: Farm, office: Client) -> None:
    wrong = reading(farm, 1, plenum_temp_f=9999)
    held = [bulk(office, "readings", [wrong, wrong])["results"][0]["held"] for _ in range(2)]
    assert held[0] == held[1]
    listed = office.get("sync/held").json()["results"]
    assert [each["id"] for each in listed] == [held[0]]
    assert listed[0]["record"] == wrong
    assert listed[0]["problem"]["errors"][0]["pointer"] == "/record/plenum_temp_f"
    done = office.post(f"sync/held/{held[0]}/resubmit", {"record": wrong | {"plenum_temp_f": 180}})
    assert done.json()["status"] == "applied"
    assert Reading.objects.count() == 2
    assert bulk(office, "readings", [wrong])["results"][0]["held"] is None


def test_samples_as_csv(farm: Farm, office: Client) -> None:
    batch = farm["batches"].pk
    text = (
        "batch,stage,taken_at,moisture_pct,probes,meter\r\n"
        f"{batch},wet,2025-10-08T13:30:00Z,24.8,3,\r\n"
        f"{batch},wet,2025-10-08T13:30:00Z,24.9,,{farm['meters'].pk}\r\n"
        f"{batch},wet,2025-10-08T13:30:00Z,wet,2.5,\r\n"
        f"{batch},wet,2025-10-08T13:30:00Z,24.8,3,,more\r\n"
    ).encode()
    told = bulk(office, "samples", text, Content_Type="text/csv")
    assert statuses(told) == [
        "created",
        "created",
        ("refused", {"/moisture_pct": "not_a_number", "/probes": "invalid"}),
        ("refused", {"/cells beyond the header": "unknown_field"}),
    ]
    assert Sample.objects.get(probes=3).moisture_pct == 24.8
    assert StaleMark.objects.filter(key=str(batch)).exists()
    exported = office.get("samples?format=csv").getvalue()
    assert bulk(office, "samples", exported, Content_Type="text/csv")["duplicates"] == 3
    assert pointers(office.post("samples/bulk", b"batch,colour\n1,2\n", Content_Type="text/csv")) == {
        "/colour": "unknown_field"
    }
    problem(office.post("samples/bulk", b"batch\n\xff\n", Content_Type="text/csv"), 400)
    problem(office.post("samples/bulk", b"batch\n1\n", Content_Type="text/plain"), 415)


def test_what_is_no_list_or_too_long(farm: Farm, office: Client) -> None:
    assert pointers(office.post("readings/bulk", {"batch": "x"})) == {"": "not_a_list"}
    assert pointers(office.post("readings/bulk", [0] * (settings.MAX_BULK_ROWS + 1))) == {"": "too_many"}
    assert bulk(office, "readings", [])["results"] == []
    problem(office.post("readings/bulk", b"[" + b" " * settings.MAX_BULK_BYTES), 413)


@pytest.mark.parametrize("role", ["auditor", "customer"])
def test_who_may_not(role: str, farm: Farm) -> None:
    of = farm["customers"] if role == "customer" else None
    client = Client(factories.token(factories.organization(), role, of))
    problem(client.post("readings/bulk", [bodies(farm)["readings"]]), 403)


def test_rows_of_others(farm: Farm, stranger: Client) -> None:
    told = bulk(stranger, "readings", [reading(farm, 1), reading(farm, 2, id=str(farm["readings"].pk))])
    assert statuses(told) == [("refused", {"/batch": "unknown_reference"})] * 2


def test_the_same_call_twice(farm: Farm, office: Client) -> None:
    first = office.post("readings/bulk", [reading(farm, 1)], Idempotency_Key="k")
    second = office.post("readings/bulk", [reading(farm, 1)], Idempotency_Key="k")
    assert second["Idempotency-Replayed"] == "true"
    assert second.json() == first.json()


def test_ten_thousand_rows_cost_as_many_queries_as_ten(farm: Farm, office: Client) -> None:
    office.get("customers")
    counts = []
    for first, count in ((0, 10), (100, 10_000)):
        rows = [reading(farm, first + n) for n in range(count)]
        rows[5] = reading(farm, 5, batch=str(new_id()))
        with CaptureQueriesContext(connection) as seen:
            told = bulk(office, "readings", rows)
        assert (told["created"], told["refused"]) == (count - 1, 1)
        counts.append(len(seen))
    assert counts[0] == counts[1] < 40


def test_an_id_that_is_there_with_other_values(farm: Farm, office: Client) -> None:
    told = bulk(office, "readings", [reading(farm, 1, id=str(farm["readings"].pk))])
    detail = told["results"][0]["errors"][0]["detail"]
    assert statuses(told) == [("refused", {"/id": "id_taken"})]
    assert "with other values" in detail and "PATCH" in detail


def test_another_call_that_was_faster_with_an_id(farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """It comes between the look and the writing: only the row with that id is refused."""
    monkeypatch.setattr(Landing, "_with_ids", lambda self, ids: {})
    told = bulk(office, "readings", [reading(farm, 1), reading(farm, 2, id=str(farm["readings"].pk))])
    assert statuses(told) == ["created", ("refused", {"/id": "id_taken"})]
    assert Reading.objects.count() == 2


def test_what_only_the_database_can_tell(farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the rules of the edge switched off, the constraints of the tables still tell which rows are wrong."""
    monkeypatch.setattr("api.record_serializer.broken_rules", lambda record: [])
    good = bodies(farm)["samples"]
    wrong = good | {"batch": None}
    rows = [good | {"moisture_pct": n / 10} for n in range(20)]
    rows[3] = rows[17] = wrong
    told = bulk(office, "samples", rows)
    assert [each["index"] for each in told["results"] if each["status"] == "refused"] == [3, 17]
    assert told["created"] == 18
    assert statuses(told)[3] == ("refused", {"/batch": "one_parent"})


@pytest.mark.parametrize("given", ["all", "null", "least"])
@pytest.mark.parametrize("name", ["samples", "readings"])
def test_a_row_of_many_is_the_record_that_is_posted_alone(name: str, given: str, farm: Farm, office: Client) -> None:
    body = bodies(farm)[name]
    needed = {"batch", "stage", "taken_at", "at", "moisture_pct"}
    if given != "all":
        body = {k: v if k in needed else None for k, v in body.items() if k in needed or given == "null"}
    told = bulk(office, name, [body])
    of_many = office.get(f"{name}/{told['results'][0]['id']}").json()
    alone = office.post(name, body).json()
    stamps = {"id", "created_at", "updated_at"}
    assert {k: v for k, v in of_many.items() if k not in stamps} == {k: v for k, v in alone.items() if k not in stamps}


@pytest.mark.parametrize("cell", ["nan", "inf", "-inf", "1e999"])
def test_a_cell_that_is_no_number(cell: str, farm: Farm, office: Client) -> None:
    text = f"batch,at,plenum_temp_f\n{farm['batches'].pk},2025-10-08T13:30:00Z,{cell}\n"
    told = bulk(office, "readings", text.encode(), Content_Type="text/csv")
    assert statuses(told) == [("refused", {"/plenum_temp_f": "not_a_number"})]
