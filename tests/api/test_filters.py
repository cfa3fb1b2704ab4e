"""What a list can be narrowed by, and that nothing else is quietly ignored."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import quote

import pytest

from api.root import RESOURCES
from dryrecords.core.ids import new_id
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers
from tests.factories import START, Farm

# Every filter of every list, with a value that finds the farm's one record and one that finds none.
TABLE = {
    "customers": {},
    "sites": {"customer": "customers"},
    "tanks": {"site": "sites", "customer": "customers", "fuel": ("propane", "diesel")},
    "dryers": {"site": "sites", "customer": "customers", "tank": "tanks", "type": ("batch_in_bin", "in_bin")},
    "bins": {"site": "sites", "customer": "customers"},
    "meters": {},
    "lots": {"customer": "customers", "crop": ("corn", "oats"), "season": (2025, 2024)},
    "batches": {
        "dryer": "dryers",
        "site": "sites",
        "customer": "customers",
        "lot": "lots",
        "bin": "bins",
        "season": (2025, 2024),
        "crop": ("corn", "oats"),
        "from": ("2025-10-06T12:00:00Z", "2025-10-06T12:00:01Z"),
        "to": ("2025-10-06T12:00:01Z", "2025-10-06T12:00:00Z"),
    },
    "tickets": {
        "buyer": (quote("Invented Elevator"), "Other"),
        "number": ("T-1", "T-2"),
        "crop": ("corn", "oats"),
        "disposition": ("sold", "stored"),
        "customer": "customers",
        "lot": "lots",
        "season": (2025, 2024),
        "from": ("2025-10-06", "2025-10-07"),
        "to": ("2025-10-07", "2025-10-06"),
    },
    "readings": {
        "batch": "batches",
        "dryer": "dryers",
        "site": "sites",
        "customer": "customers",
        "season": (2025, 2024),
        "crop": ("corn", "oats"),
        "from": ("2025-10-06", "2025-10-07"),
        "to": ("2025-10-07", "2025-10-06"),
    },
    "samples": {
        "batch": "batches",
        "meter": "meters",
        "stage": ("wet", "hot"),
        "dryer": "dryers",
        "site": "sites",
        "customer": "customers",
        "season": (2025, 2024),
        "crop": ("corn", "oats"),
        "from": ("2025-10-06T07:00:00-05:00", "2025-10-06T12:00:00-05:00"),
        "to": ("2025-10-06T12:00:00-05:00", "2025-10-06T07:00:00-05:00"),
    },
    "fuel-readings": {
        "tank": "tanks",
        "site": "sites",
        "customer": "customers",
        "from": ("2025-10-06", "2025-10-07"),
        "to": ("2025-10-07", "2025-10-06"),
    },
    "fuel-deliveries": {
        "tank": "tanks",
        "site": "sites",
        "customer": "customers",
        "from": ("2025-10-06", "2025-10-07"),
        "to": ("2025-10-07", "2025-10-06"),
    },
    "power-readings": {
        "dryer": "dryers",
        "site": "sites",
        "customer": "customers",
        "from": ("2025-10-06", "2025-10-07"),
        "to": ("2025-10-07", "2025-10-06"),
    },
    "prices": {
        "kind": ("propane", "grain"),
        "site": "sites",
        "crop": (None, "corn"),
        "from": ("2025-08-01", "2025-08-02"),
        "to": ("2025-08-02", "2025-08-01"),
    },
    "rates": {
        "customer": "customers",
        "crop": (None, "corn"),
        "from": ("2025-08-01", "2025-08-02"),
        "to": ("2025-08-02", "2025-08-01"),
    },
    "schedules": {
        "buyer": (quote("Invented Elevator"), "Other"),
        "crop": ("corn", "oats"),
        "disposition": ("any", "sold"),
        "in_force_at": ("2025-08-01", "2025-07-31"),
        "from": ("2025-08-01", "2025-08-02"),
        "to": ("2025-08-02", "2025-08-01"),
    },
    "settings": {
        "customer": "customers",
        "crop": (None, "corn"),
        "from": ("2025-08-01", "2025-08-02"),
        "to": ("2025-08-02", "2025-08-01"),
    },
}
CASES = [(name, parameter) for name, parameters in TABLE.items() for parameter in parameters]


def test_the_table_has_every_filter() -> None:
    always = {"updated_since", "limit", "cursor", "format"}
    known = {resource.name: set(resource.parameters) - always for resource in RESOURCES}
    # A sample is of a batch, of a bin or of a ticket; the farm's is of a batch.
    assert {
        name: set(filters) | ({"bin", "ticket"} if name == "samples" else set()) for name, filters in TABLE.items()
    } == known


@pytest.mark.parametrize(("name", "parameter"), CASES)
def test_each_filter_finds_and_does_not_find(name: str, parameter: str, farm: Farm, office: Client) -> None:
    given = TABLE[name][parameter]
    hit, miss = (farm[given].pk, new_id()) if isinstance(given, str) else given
    if hit is not None:
        found = office.get(f"{name}?{parameter}={hit}".replace("+", "%2B"))
        assert [row["id"] for row in found.json()["results"]] == [str(farm[name].pk)], found.content
    assert office.get(f"{name}?{parameter}={miss}").json()["results"] == []


def test_samples_of_a_bin(farm: Farm, office: Client) -> None:
    sample = factories.sample(farm.by, bin_id=farm["bins"].pk, stage="stored")
    for query in (f"bin={farm['bins'].pk}", f"site={farm['sites'].pk}&stage=stored"):
        assert [row["id"] for row in office.get(f"samples?{query}").json()["results"]] == [str(sample.pk)]


def test_power_of_a_whole_site(farm: Farm, office: Client) -> None:
    factories.power_reading(farm.by, farm["dryers"], dryer_id=None, site_id=farm["sites"].pk)
    assert len(office.get(f"power-readings?site={farm['sites'].pk}").json()["results"]) == 2


@pytest.mark.parametrize("name", sorted(TABLE))
def test_updated_since(name: str, farm: Farm, office: Client) -> None:
    stamp = office.get(f"{name}/{farm[name].pk}").json()["updated_at"]
    assert len(office.get(f"{name}?updated_since={stamp}").json()["results"]) == 1
    later = (farm[name].updated_at + timedelta(microseconds=1)).isoformat()
    # An unescaped plus sign arrives as a space and is understood.
    assert office.get(f"{name}?updated_since={later}").json()["results"] == []


@pytest.mark.parametrize(
    ("query", "pointer", "code"),
    [
        ("colour=red", "/colour", "unknown_parameter"),
        ("dryer=x", "/dryer", "invalid"),
        ("dryer=", "/dryer", "invalid"),
        ("dryer=%00", "/dryer", "invalid"),
        ("crop=maize", "/crop", "invalid_choice"),
        ("season=MMXXV", "/season", "invalid"),
        ("season=99999999999999999999", "/season", "max_value"),
        ("limit=0", "/limit", "min_value"),
        ("limit=1001", "/limit", "max_value"),
        ("limit=5&limit=6", "/limit", "repeated_parameter"),
        ("from=2025-10-06T12:00:00", "/from", "offset_missing"),
        ("from=yesterday", "/from", "invalid"),
        ("cursor=x", "/cursor", "bad_cursor"),
        ("cursor=WyIyMDI1LTEwLTA2IiwiMSJd", "/cursor", "bad_cursor"),
        ("cursor=W1tdLFtdXQ", "/cursor", "bad_cursor"),
        ("cursor=%C3%A9", "/cursor", "bad_cursor"),
        ("cursor=" + "A" * 401, "/cursor", "max_length"),
    ],
)
def test_what_cannot_be_used_is_named(query: str, pointer: str, code: str, farm: Farm, office: Client) -> None:
    assert pointers(office.get(f"batches?{query}")) == {pointer: code}


def test_queries_where_there_are_none(farm: Farm, office: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    assert pointers(office.get(f"{path}?season=2025")) == {"/season": "unknown_parameter"}
    assert pointers(office.delete(f"{path}?force=1")) == {"/force": "unknown_parameter"}
    assert pointers(office.post("customers?dry_run=1", {"name": "A"})) == {"/dry_run": "unknown_parameter"}
    assert farm["batches"].started_at == START
