"""Forecasts and grids of them over the API: names, units, invariants, refusals."""

from __future__ import annotations

from typing import Any

import pytest

from dryrecords.season import services
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.factories import Farm

ASKED = {
    "crop": "corn",
    "moisture_in_pct": 25.0,
    "target_moisture_pct": 15.0,
    "plenum_temp_f": 160.0,
    "grain_temp_f": 50.0,
    "ambient_temp_f": 50.0,
    "ambient_rh_pct": 65.0,
    "bed_depth_ft": 2.0,
    "cooling": "in_bin",
    "cooled_to_f": 50.0,
}
FIGURES = (
    "drying_h drying_h_u cutoff_temp_f cutoff_temp_f_u exhaust_temp_f moisture_at_cutoff_pct moisture_cooled_pct "
    "moisture_cooled_pct_u moisture_spread_pct grain_temp_cooled_f water_removed_lb bed_depth_ft settled_depth_ft "
    "refill_bu airflow_cfm static_pressure_inh2o fuel_gal fuel_btu fuel_therm electricity_kwh energy_btu_per_lb_water"
)


def path(farm: Farm) -> str:
    return f"dryers/{farm['dryers'].pk}/forecast"


def told(client: Client, farm: Farm, **changes: Any) -> dict[str, Any]:
    response = client.post(path(farm), ASKED | changes)
    assert response.status_code == 200, response.content
    body: dict[str, Any] = response.json()
    return body


def test_names(farm: Farm, office: Client) -> None:
    """The contract with everybody who asks: written out, not taken from the table that makes them."""
    body = told(office, farm)
    assert set(body) == set(FIGURES.split()) | {
        "dryer",
        "crop",
        "curve",
        "calibration",
        "model_version",
        "assumed",
        "cautions",
    }
    assert set(body["calibration"]) == {"batches", "rmse_pct", "drying_rate", "airflow", "cutoff_offset_f"}
    assert set(body["curve"][0]) == {"min", "moisture_pct", "grain_temp_f", "exhaust_temp_f", "depth_ft"}
    assert body["calibration"] == {
        "batches": 0,
        "rmse_pct": None,
        "drying_rate": 1.0,
        "airflow": 1.0,
        "cutoff_offset_f": 0.0,
    }
    assert body["model_version"]
    assert body["assumed"]
    assert body["cautions"]


def test_units_and_sizes(farm: Farm, office: Client) -> None:
    """The figures of one forecast in the ranges that practice knows; each would leave them in a wrong unit."""
    body = told(office, farm)
    assert 1 < body["drying_h"] < 10
    assert 50 < body["cutoff_temp_f"] < 160
    assert 15 < body["moisture_at_cutoff_pct"] < 19
    assert body["moisture_cooled_pct"] == pytest.approx(15.0, abs=0.1)
    assert 50 < body["grain_temp_cooled_f"] < 60
    assert body["bed_depth_ft"] == pytest.approx(2.0)
    assert 1.5 < body["settled_depth_ft"] < 2.0
    # 30 ft across: 707 ft2, 1.24 ft3 a bushel of volume, 56 lb of it at 15.5 %.
    bushels = 707 * 2.0 / 1.244
    assert body["refill_bu"] == pytest.approx(bushels * (2.0 - body["settled_depth_ft"]) / 2.0, rel=0.1)
    assert 0.05 * 56 * bushels < body["water_removed_lb"] < 0.15 * 56 * bushels
    # A tenth and more of a point removed for each bushel and point: 0.015 to 0.025 gallon (Iowa State University).
    assert 0.012 < body["fuel_gal"] / (bushels * 10) < 0.03
    assert body["fuel_btu"] / body["fuel_gal"] == pytest.approx(91_333, rel=1e-4)
    assert 1500 < body["energy_btu_per_lb_water"] < 3500
    assert 10 < body["airflow_cfm"] / bushels < 60
    assert 0.5 < body["static_pressure_inh2o"] < 5


def test_the_curve_leads_from_the_beginning_to_the_end(farm: Farm, office: Client) -> None:
    body = told(office, farm)
    first, last = body["curve"][0], body["curve"][-1]
    assert (first["min"], first["moisture_pct"]) == (0, pytest.approx(25.0))
    assert first["grain_temp_f"] == pytest.approx(50.0, abs=0.5)
    assert last["min"] / 60 == pytest.approx(body["drying_h"], rel=1e-4)
    assert last["moisture_pct"] == pytest.approx(body["moisture_at_cutoff_pct"], abs=0.05)
    assert last["exhaust_temp_f"] == pytest.approx(body["exhaust_temp_f"], abs=0.5)
    assert last["depth_ft"] == pytest.approx(body["settled_depth_ft"], abs=0.01)
    moistures = [point["moisture_pct"] for point in body["curve"]]
    assert moistures == sorted(moistures, reverse=True)


def test_invariants(farm: Farm, office: Client) -> None:
    usual = told(office, farm)
    assert told(office, farm, plenum_temp_f=190.0)["drying_h"] < usual["drying_h"]
    assert told(office, farm, moisture_in_pct=28.0)["drying_h"] > usual["drying_h"]
    assert told(office, farm, airflow_cfm=2 * usual["airflow_cfm"])["drying_h"] < usual["drying_h"]
    # As many cubic feet a minute for each bushel: as long, and as wet.
    thin, thick = (told(office, farm, bed_depth_ft=d, airflow_cfm=10_000.0 * d) for d in (2.0, 2.5))
    assert thick["drying_h"] == pytest.approx(thin["drying_h"], rel=0.005)
    assert thick["moisture_spread_pct"] == pytest.approx(thin["moisture_spread_pct"], rel=0.005)


def test_an_uncertainty_of_a_temperature_has_no_offset(farm: Farm, office: Client) -> None:
    """Before the first batch: at least 6 K of the sensor, which is 10.8 F; never 32 more."""
    assert 10.8 < told(office, farm)["cutoff_temp_f_u"] < 30


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"target_moisture_pct": 25.0}, {"/target_moisture_pct": "not_drier"}),
        ({"plenum_temp_f": 50.0}, {"/plenum_temp_f": "not_heated"}),
        ({"wet_mass_lb": 50_000.0}, {"/wet_mass_lb": "one_figure"}),
        ({"bed_depth_ft": None}, {"/bed_depth_ft": "needed"}),
        ({"bed_depth_ft": None, "wet_mass_lb": 100.0}, {"/wet_mass_lb": "out_of_range"}),
        ({"airflow_cfm": 1e6}, {"/airflow_cfm": "out_of_range"}),
        ({"crop": "rye"}, {"/airflow_cfm": "needed"}),
        ({"moisture_in_pct": 61}, {"/moisture_in_pct": "out_of_range"}),
        ({"plenum_temp_f": 301}, {"/plenum_temp_f": "out_of_range"}),
        ({"ambient_rh_pct": -1}, {"/ambient_rh_pct": "out_of_range"}),
        ({"moisture_in_pct": [20.0]}, {"/moisture_in_pct": "not_a_number"}),
        ({"cooling": "outside"}, {"/cooling": "invalid_choice"}),
        ({"colour": 1}, {"/colour": "unknown_field"}),
        ({"plenum_temp_f": None}, {"/plenum_temp_f": "null"}),
    ],
)
def test_refusals(changes: dict[str, Any], expected: dict[str, str], farm: Farm, office: Client) -> None:
    assert pointers(office.post(path(farm), ASKED | changes)) == expected


def test_a_dryer_without_a_floor(farm: Farm, office: Client) -> None:
    bare = factories.dryer(farm.by, farm["sites"], diameter_m=None)
    body = problem(office.post(f"dryers/{bare.pk}/forecast", ASKED), 422)
    assert "diameter" in body["detail"]


@pytest.mark.parametrize("changes", [{"cooling": "in_dryer"}, {"cooled_to_f": 20.0}, {"cooling": None}])
def test_other_ways_of_cooling(changes: dict[str, Any], farm: Farm, office: Client) -> None:
    assert told(office, farm, **changes)["moisture_cooled_pct"] == pytest.approx(15.0, abs=0.1)


def test_only_what_is_needed(farm: Farm, office: Client) -> None:
    needed = ("crop", "moisture_in_pct", "target_moisture_pct", "plenum_temp_f", "ambient_temp_f", "bed_depth_ft")
    response = office.post(path(farm), {name: ASKED[name] for name in needed})
    assert response.status_code == 200, response.content
    assert {"The relative humidity outside is taken as 65 %."} <= set(response.json()["assumed"])


def test_gas_is_told_in_therms(farm: Farm, office: Client) -> None:
    meter = factories.tank(farm.by, farm["sites"], fuel="natural_gas")
    on_gas = factories.dryer(farm.by, farm["sites"], tank_id=meter.pk)
    body = office.post(f"dryers/{on_gas.pk}/forecast", ASKED).json()
    assert body["fuel_gal"] is None
    assert body["fuel_therm"] == pytest.approx(body["fuel_btu"] / 100_000)


@pytest.mark.parametrize("role", ["owner", "office", "operator", "auditor", "customer"])
def test_whoever_sees_the_dryer_may_ask(role: str, farm: Farm) -> None:
    of = farm["customers"] if role == "customer" else None
    client = Client(factories.token(factories.organization(), role, of))
    assert client.post(path(farm), ASKED).status_code == 200
    grid = client.post(f"{path(farm)}-grids", ASKED)
    assert grid.status_code == 202
    assert client.get(grid["Location"]).status_code == 200


def test_a_customer_asks_of_its_own_only(farm: Farm, office: Client) -> None:
    neighbour = factories.customer(farm.by, name="Neighbour")
    client = Client(factories.token(factories.organization(), "customer", neighbour))
    problem(client.post(path(farm), ASKED), 404)
    problem(client.post(f"{path(farm)}-grids", ASKED), 404)
    location = office.post(f"{path(farm)}-grids", ASKED)["Location"]
    problem(client.get(location), 404)


def test_a_grid(farm: Farm, office: Client) -> None:
    asked = ASKED | {"moisture_in_pct": [20.0, 24.0], "plenum_temp_f": [140.0, 160.0, 180.0]}
    response = office.post(f"{path(farm)}-grids", asked)
    assert response.status_code == 202, response.content
    waiting = response.json()
    assert (waiting["status"], waiting["progress"], waiting["forecasts"]) == ("waiting", 0, 6)
    assert (waiting["answers"], waiting["error"]) == ([], None)
    services.work_off()
    done = office.get(response["Location"]).json()
    assert (done["status"], done["progress"], len(done["answers"])) == ("done", 1, 6)
    asked_for = [(each["asked"]["moisture_in_pct"], each["asked"]["plenum_temp_f"]) for each in done["answers"]]
    assert asked_for == [(m, p) for m in (20.0, 24.0) for p in (140.0, 160.0, 180.0)]
    alone = told(office, farm, moisture_in_pct=24.0, plenum_temp_f=180.0)
    assert {name: done["answers"][5][name] for name in FIGURES.split()} == {
        name: alone[name] for name in FIGURES.split()
    }
    # 120 to 160 F for corn in batch bins: extension text.
    assert any("hotter than a published limit" in said for said in done["cautions"])
    assert done["model_version"] == alone["model_version"]


def test_refusals_of_grids(farm: Farm, office: Client) -> None:
    grids = f"{path(farm)}-grids"
    assert pointers(office.post(grids, ASKED | {"moisture_in_pct": [20.0, "x", 99.0]})) == {
        "/moisture_in_pct/1": "not_a_number"
    }
    assert pointers(office.post(grids, ASKED | {"moisture_in_pct": []})) == {"/moisture_in_pct": "too_many"}
    many = {"moisture_in_pct": [20.0] * 40, "plenum_temp_f": [160.0] * 40}
    assert set(pointers(office.post(grids, ASKED | many)).values()) == {"too_many"}
    problem(office.post(grids, ASKED | {"crop": ["corn"]}), 422)
    problem(office.post(grids, [ASKED]), 422)
