"""What is posted reads back equal, for every resource; it can be corrected and removed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from api.root import RESOURCES
from dryrecords.core.ids import new_id
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm

NAMES = [resource.name for resource in RESOURCES]


def same(sent: Any, back: Any) -> bool:
    if isinstance(sent, float):
        return bool(back == pytest.approx(sent, rel=1e-9, abs=0))
    if isinstance(sent, list):
        return len(sent) == len(back) and all(same(a, b) for a, b in zip(sent, back, strict=True))
    if isinstance(sent, dict):
        return all(same(value, back[name]) for name, value in sent.items())
    return bool(sent == back)


@pytest.mark.parametrize("name", NAMES)
def test_a_full_body_names_every_field(name: str, farm: Farm) -> None:
    serializer = next(resource.serializer for resource in RESOURCES if resource.name == name)
    writable = {field for field, kind in serializer().fields.items() if not kind.read_only}
    assert set(bodies(farm)[name]) == writable - {"id"}


@pytest.mark.parametrize("name", NAMES)
def test_posted_reads_back_equal(name: str, farm: Farm, office: Client) -> None:
    body = {"id": str(new_id()), **bodies(farm)[name]}
    made = office.post(name, body)
    assert made.status_code == 201, made.content
    assert made["Location"] == f"/api/v1/{name}/{body['id']}"
    read = office.get(made["Location"])
    assert read.json() == made.json()
    assert read["ETag"] == made["ETag"] == '"1"'
    assert {
        field: (value, read.json()[field]) for field, value in body.items() if not same(value, read.json()[field])
    } == {}
    assert read.json()["version"] == 1
    assert read.json()["created_at"] == read.json()["updated_at"]
    listed = office.get(f"{name}?limit=1000").json()["results"]
    assert [row for row in listed if row["id"] == body["id"]] == [read.json()]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_left_out_is_null_outside(name: str, farm: Farm, office: Client) -> None:
    serializer = next(resource.serializer for resource in RESOURCES if resource.name == name)
    required = {field for field, kind in serializer().fields.items() if kind.required and not kind.read_only}
    body = bodies(farm)[name]
    kept = required | ({"batch"} if name == "samples" else set()) | ({"dryer"} if name == "power-readings" else set())
    kept |= {"bands"} if name == "rates" else set()
    kept |= {"volume_gal"} if name == "fuel-readings" else {"crop"} if name == "prices" else set()
    made = office.post(name, {field: body[field] for field in kept})
    assert made.status_code == 201, made.content
    UUID(made.json()["id"])
    filled_in = {"season", "bottom", "disposition", "fill_peaked", "temperature_corrected", "fans", "refills"}
    filled_in |= {"points_counted", "moisture_rounding_pct", "bushel_rounding_bu"}
    filled_in |= {"id", "version", "created_at", "updated_at"}
    given = {field for field, value in made.json().items() if value is not None} - filled_in
    assert given == kept - filled_in
    assert office.get(made["Location"]).json() == made.json()


@pytest.mark.parametrize("name", NAMES)
def test_a_record_is_corrected_and_removed(name: str, farm: Farm, office: Client) -> None:
    made = office.post(name, bodies(farm)[name])
    path = made["Location"]
    change = {"note": "other"} if name == "batches" else CHANGES[name]
    corrected = office.patch(path, change)
    assert corrected.status_code == 200, corrected.content
    assert corrected["ETag"] == '"2"'
    (field, value), *_ = change.items()
    assert same(value, corrected.json()[field])
    assert office.get(path).json() == corrected.json()
    assert {**made.json(), **corrected.json()} == corrected.json()
    unchanged = office.patch(path, change)
    assert (unchanged.status_code, unchanged["ETag"]) == (200, '"2"')
    removed = office.delete(path)
    assert (removed.status_code, removed.content) == (204, b"")
    assert office.get(path).status_code == 404
    assert office.delete(path).status_code == 404
    assert made.json()["id"] not in [row["id"] for row in office.get(name).json()["results"]]


CHANGES: dict[str, dict[str, Any]] = {
    "customers": {"name": "Renamed"},
    "sites": {"elevation_ft": 900.1},
    "tanks": {"capacity_gal": 500.3},
    "dryers": {"fans": [{"purpose": "drying", "power_hp": 12.3}]},
    "bins": {"bottom": "flat"},
    "meters": {"serial_number": None},
    "lots": {"base_moisture_pct": None},
    "tickets": {"stated": {"net_bu": "853.7"}},
    "readings": {"burner": None},
    "samples": {"moisture_pct": 15.3},
    "fuel-readings": {"volume_gal": None, "gauge_pct": 33.3},
    "fuel-deliveries": {"unit_price_usd": "2.01"},
    "power-readings": {"meter_kwh": 23_456.8},
    "prices": {"unit_price_usd": "4.2"},
    "rates": {"out_usd_bu": "0.08"},
    "settings": {"handling_pct": 0.7},
    "schedules": {"rules": {"base_moisture_pct": "14.5"}},
}
