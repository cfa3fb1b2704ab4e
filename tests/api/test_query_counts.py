"""How many queries a route needs: the same for two rows as for twenty."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.root import RESOURCES
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm

# Without the query that finds the token.
LIST = READ = 1
HISTORY = 2


@contextmanager
def queries(count: int) -> Iterator[None]:
    with CaptureQueriesContext(connection) as seen:
        yield
    told = [query["sql"][:200] for query in seen if "SAVEPOINT" not in query["sql"]]
    assert len(told) == count + 1, "\n".join(told)


@pytest.fixture
def warm(farm: Farm, office: Client) -> Client:
    """The first use of a token is written down; later ones are not."""
    office.get("customers")
    return office


def copies(client: Client, name: str, body: dict[str, object], count: int) -> None:
    for number in range(count):
        # Of what is in force there is one row for each moment.
        moment = {"effective_from": f"{2000 + count}-10-{number + 1:02}"} if "effective_from" in body else {}
        moment |= {"effective_to": f"{2000 + count}-10-{number + 2:02}"} if "effective_to" in body else {}
        assert client.post(name, body | moment).status_code == 201


@pytest.mark.parametrize("name", [resource.name for resource in RESOURCES])
def test_a_list_costs_the_same_for_any_length(name: str, farm: Farm, warm: Client) -> None:
    body = bodies(farm)[name]
    copies(warm, name, body, 1)
    with queries(LIST):
        assert len(warm.get(name).json()["results"]) == 2
    copies(warm, name, body, 18)
    with queries(LIST):
        assert len(warm.get(name).json()["results"]) == 20
    with queries(LIST):
        assert len(warm.get(f"{name}?limit=5").json()["results"]) == 5


def test_reading_one(farm: Farm, warm: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    with queries(READ):
        warm.get(path)
    with queries(HISTORY):
        warm.get(f"{path}/history")


def test_writing_one(farm: Farm, warm: Client) -> None:
    # References of three kinds, the lot's crop; who writes, marks, and the row, whose history the database writes.
    with queries(7):
        made = warm.post("batches", bodies(farm)["batches"])
    # Read, lock, who writes, marks, write.
    with queries(5):
        warm.patch(made["Location"], {"note": "n"})


def test_a_season_costs_the_same_for_any_number_of_sites(farm: Farm, warm: Client) -> None:
    counts = []
    for number in (1, 10):
        for n in range(number):
            factories.site(farm.by, farm["customers"], name=f"Site {number} {n}")
        with CaptureQueriesContext(connection) as seen:
            assert warm.get("seasons/2025").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1] <= 6
