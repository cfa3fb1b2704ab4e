"""Every list as a CSV file: all rows, the same filters, and no text that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from api import paging
from api.csv_cells import cell_of, text_of
from api.root import RESOURCES
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.test_problems import pointers
from tests.factories import Farm


def rows(answer: Any) -> list[dict[str, str]]:
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode(), newline="")))


def flattened(record: dict[str, Any]) -> dict[str, Any]:
    """What goes together in a record has a column for each part."""
    groups = {name: value for name, value in record.items() if name == "stated"}
    parts = {f"{name}_{part}": each for name, group in groups.items() for part, each in (group or {}).items()}
    return {name: value for name, value in record.items() if name not in groups} | parts


@pytest.mark.parametrize("name", [resource.name for resource in RESOURCES])
def test_every_list(name: str, farm: Farm, office: Client) -> None:
    office.post(name, bodies(farm)[name])
    listed = office.get(name).json()["results"]
    exported = rows(office.get(name, Accept="text/csv"))
    assert [row["id"] for row in exported] == [row["id"] for row in listed]
    for row, record in zip(exported, listed, strict=True):
        flat = flattened(record)
        assert set(row) == set(flat) | set(flattened(bodies(farm)[name]))
        for field, value in flat.items():
            assert (row[field] == "") == (value in (None, [])), field
            if isinstance(value, float) and not isinstance(value, bool):
                assert float(row[field]) == value, field
    assert rows(office.get(f"{name}?format=csv")) == exported
    assert office.get(f"{name}?format=json", Accept="text/csv").json()["results"] == listed
    assert office.get(name, Accept="text/csv;q=0.1, application/json").json()["results"] == listed


def test_all_pages_in_order(farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(7):
        factories.reading(farm.by, farm["batches"])
    ids = [row["id"] for row in office.get("readings").json()["results"]]
    for at_a_time in (1, 3, 4, 8, 100):
        monkeypatch.setattr(paging, "ROWS_AT_A_TIME", at_a_time)
        assert [row["id"] for row in rows(office.get("readings?format=csv"))] == ids


def test_the_same_filters_and_the_same_walls(farm: Farm, office: Client, stranger: Client) -> None:
    factories.sample(farm.by, farm["batches"], stage="cooled")
    assert [row["stage"] for row in rows(office.get("samples?format=csv&stage=cooled"))] == ["cooled"]
    assert rows(stranger.get("samples?format=csv")) == []
    assert pointers(office.get("samples?format=csv&limit=2&cursor=x")) == {
        "/limit": "not_with_csv",
        "/cursor": "not_with_csv",
    }
    assert pointers(office.get("samples?format=xlsx")) == {"/format": "invalid_choice"}


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+1", "-A1\n", "@x", "\t=1", "'=1", "''-1", "'quoted'", "a=1", ""])
def test_no_text_is_a_formula(text: str) -> None:
    cell = cell_of(text)
    assert cell[:1] not in tuple("=+-@\t\r")
    assert text_of(cell) == text


@pytest.mark.parametrize("number", ["-1", "-66.66", "-0.5", "12.50"])
def test_a_number_stays_one(number: str) -> None:
    assert cell_of(number) == number == text_of(number)


def test_a_formula_in_a_note(farm: Farm, office: Client) -> None:
    office.patch(f"batches/{farm['batches'].pk}", {"note": '=HYPERLINK("http://x")', "ambient_temp_f": -4.0})
    row = rows(office.get("batches?format=csv"))[0]
    assert row["note"] == '\'=HYPERLINK("http://x")'
    assert float(row["ambient_temp_f"]) == -4.0
