"""The storage of a bin over the API."""

from __future__ import annotations

import pytest

from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.season.test_bin_storage import Stored

pytestmark = pytest.mark.django_db
TOLD_OF_STORAGE = (
    "bin at crop batches stored_since dry_mass_lb dry_bu moisture_pct moisture_from grain_temp_f warmed_f "
    "storage_life_used storage_left_days safe_moisture_pct safe_moisture_winter_pct safe_moisture_summer_pct "
    "safe_moisture_source cold_branch missing model_version assumed cautions"
)


def client(role: str = "owner", of: object = None) -> Client:
    return Client(factories.token(factories.organization(), role, of))  # type: ignore[arg-type]


def test_names_and_units() -> None:
    """University of Kentucky: soybeans at 17 % keep 50 days at 50 F, 90 at 40 F."""
    stored = Stored("soybean", 17.0)
    stored.probe(0, 17.0, 50.0)
    stored.probe(10, 17.0, 40.0)
    body = client().get(f"bins/{stored.bin.pk}/storage?at=2025-10-16T22:00:00Z").json()
    assert set(body) == set(TOLD_OF_STORAGE.split())
    assert body["grain_temp_f"] == pytest.approx(40.0)
    assert body["warmed_f"] == pytest.approx(-10.0)
    assert body["storage_life_used"] == pytest.approx(0.2, abs=0.005)
    assert body["storage_left_days"] == pytest.approx(72, abs=1.5)
    # Michigan State University: 13 % over winter, 11 % into summer.
    assert [body[f"safe_moisture_{name}pct"] for name in ("", "winter_", "summer_")] == [13, 13, 11]
    # 60 lb a bushel of soybeans: University of Wisconsin Extension bushel table.
    assert body["dry_bu"] == pytest.approx(body["dry_mass_lb"] / 60)
    assert any("bin" in said for said in body["cautions"])


def test_warming_is_pointed_out() -> None:
    stored = Stored()
    stored.probe(1, 15.0, 45.0)
    stored.probe(20, 15.0, 55.0)
    body = client().get(f"bins/{stored.bin.pk}/storage").json()
    assert "hot spot" in body["cautions"][0]


def test_an_empty_bin_and_refusals() -> None:
    farm = factories.farm()
    path = f"bins/{factories.bin_(farm.by, farm['sites']).pk}/storage"
    body = client().get(path).json()
    assert (body["crop"], body["dry_bu"], body["storage_life_used"]) == (None, None, None)
    assert pointers(client().get(f"{path}?at=yesterday")) == {"/at": "invalid"}
    assert pointers(client().get(f"{path}?when=now")) == {"/when": "unknown_parameter"}
    neighbour = factories.customer(farm.by, name="Neighbour")
    problem(client("customer", neighbour).get(path), 404)
    assert client("customer", farm["customers"]).get(path).status_code == 200
