"""Pages: every record once, newest first, whatever is written between two pages."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from tests import factories
from tests.api.client import Client
from tests.factories import START, Farm


def pages(client: Client, path: str) -> list[list[str]]:
    found = []
    while path:
        body = client.get(path.removeprefix("http://testserver")).json()
        found.append([row["id"] for row in body["results"]])
        assert (body["next"] is None) == (body["next_cursor"] is None)
        path = body["next"]
        assert len(found) < 100, "the pages never end"
    return found


@pytest.fixture
def batches(farm: Farm) -> list[Any]:
    """The farm's batch and eight more, two at each moment."""
    made = [factories.batch(farm.by, farm["dryers"], started_at=START - timedelta(hours=n // 2)) for n in range(8)]
    return sorted([farm["batches"], *made], key=lambda batch: (batch.started_at, batch.pk), reverse=True)


@pytest.mark.parametrize("limit", [1, 2, 3, 4, 8, 9, 10])
def test_every_record_once_in_order(limit: int, batches: list[Any], office: Client) -> None:
    found = pages(office, f"batches?limit={limit}&crop=corn")
    assert [record for page in found for record in page] == [str(batch.pk) for batch in batches]
    assert {len(page) for page in found[:-1]} <= {limit}


def test_writes_between_pages_move_nothing(batches: list[Any], farm: Farm, office: Client) -> None:
    first = office.get("batches?limit=4").json()
    newer = factories.batch(farm.by, farm["dryers"], started_at=START + timedelta(hours=1))
    between = factories.batch(farm.by, farm["dryers"], started_at=START - timedelta(hours=2, minutes=30))
    office.delete(f"batches/{batches[1].pk}")
    rest = [record for page in pages(office, first["next"]) for record in page]
    seen = [row["id"] for row in first["results"]] + rest
    assert len(seen) == len(set(seen))
    assert set(seen) == {str(batch.pk) for batch in [*batches, between]}
    assert str(newer.pk) not in seen


def test_the_cursor_alone_is_enough(batches: list[Any], office: Client) -> None:
    first = office.get("batches?limit=5").json()
    rest = office.get(f"batches?cursor={first['next_cursor']}").json()
    assert [row["id"] for row in first["results"] + rest["results"]] == [str(batch.pk) for batch in batches]


def test_a_hundred_unless_asked_for_more(farm: Farm, office: Client) -> None:
    factories_rows = [{"name": f"Meter {n}"} for n in range(120)]
    from dryrecords.equipment import services

    services.meters.create_many(farm.by, factories_rows)
    assert [len(page) for page in pages(office, "meters")] == [100, 21]
    assert len(office.get("meters?limit=1000").json()["results"]) == 121


def test_history_has_pages_too(farm: Farm, office: Client) -> None:
    path = f"customers/{farm['customers'].pk}"
    for n in range(5):
        office.patch(path, {"name": f"Name {n}"})
    body = office.get(f"{path}/history?limit=4").json()
    rest = office.get(body["next"].removeprefix("http://testserver")).json()
    assert [entry["version"] for entry in body["results"] + rest["results"]] == [6, 5, 4, 3, 2, 1]
    assert rest["next"] is None
