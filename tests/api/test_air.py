"""Calculators of air, airflow, equilibrium and storage time against printed and independent values."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import psychrolib
import pytest

from dryrecords.harvest.models import Crop
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.factories import Farm

ATMOSPHERE_PSI = 14.696


def told(client: Client, name: str, asked: Any) -> Any:
    response = client.post(f"grain/{name}", asked)
    assert response.status_code == 200, response.content
    return response.json()


@pytest.fixture(scope="module", autouse=True)
def inch_pound_units() -> Iterator[None]:
    """The library's units are one setting for the whole process: others check against it in SI."""
    psychrolib.SetUnitSystem(psychrolib.IP)
    yield
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(("temp_f", "rh", "heated_f"), [(50, 65, None), (70, 50, None), (50, 65, 120), (50, 65, 200)])
def test_air_against_psychrolib(temp_f: float, rh: float, heated_f: float | None, farm: Farm, office: Client) -> None:
    """Its equations in these units are rounded apart from those in SI."""
    body = told(office, "air", {"temp_f": temp_f, "rh_pct": rh, "heated_to_f": heated_f})
    ratio = psychrolib.GetHumRatioFromRelHum(temp_f, rh / 100, ATMOSPHERE_PSI)
    at = heated_f or temp_f
    wet_bulb = psychrolib.GetTWetBulbFromHumRatio(at, ratio, ATMOSPHERE_PSI)
    dew_point = psychrolib.GetTDewPointFromHumRatio(at, ratio, ATMOSPHERE_PSI)
    assert body["temp_f"] == pytest.approx(at)
    assert body["humidity_ratio"] == pytest.approx(ratio, abs=3e-6)
    assert body["rh_pct"] == pytest.approx(100 * psychrolib.GetRelHumFromHumRatio(at, ratio, ATMOSPHERE_PSI), abs=0.01)
    assert body["wet_bulb_f"] == pytest.approx(wet_bulb, abs=0.03)
    assert body["dew_point_f"] == pytest.approx(dew_point, abs=0.02)
    assert body["enthalpy_btu_lb"] == pytest.approx(psychrolib.GetMoistAirEnthalpy(at, ratio), abs=0.06)
    assert body["volume_ft3_lb"] == pytest.approx(psychrolib.GetMoistAirVolume(at, ratio, ATMOSPHERE_PSI), rel=2e-4)


def test_air_higher_up(farm: Farm, office: Client) -> None:
    body = told(office, "air", {"temp_f": 70, "rh_pct": 50, "elevation_ft": 5000})
    pressure = psychrolib.GetStandardAtmPressure(5000)
    assert body["volume_ft3_lb"] == pytest.approx(
        psychrolib.GetMoistAirVolume(70, psychrolib.GetHumRatioFromRelHum(70, 0.5, pressure), pressure), rel=3e-4
    )


def test_dry_air_has_no_dew_point(farm: Farm, office: Client) -> None:
    assert told(office, "air", {"temp_f": 70, "rh_pct": 0})["dew_point_f"] is None


@pytest.mark.parametrize(
    ("crop", "temp_f", "rh_pct", "moisture_pct"),
    # An encyclopaedia's table of equilibrium moistures: corn and soybeans at 35 and 70 F.
    [("corn", 35, 25, 9.3), ("corn", 70, 40, 10.3), ("soybean", 70, 30, 6.1), ("soybean", 100, 40, 6.9)],
)
def test_equilibrium_of_the_table(
    crop: str, temp_f: float, rh_pct: float, moisture_pct: float, farm: Farm, office: Client
) -> None:
    body = told(office, "equilibrium", {"crop": crop, "temp_f": temp_f, "rh_pct": rh_pct})
    assert body["moisture_pct"] == pytest.approx(moisture_pct, abs=0.06)
    assert body["equation"].startswith("modified")
    assert "D245" in body["source"]
    assert body["assumed"] == []


def test_equilibrium_out_of_range_and_of_a_crop_without_its_own(farm: Farm, office: Client) -> None:
    body = told(office, "equilibrium", {"crop": "rye", "temp_f": 160, "rh_pct": 3})
    assert len(body["assumed"]) == 2
    assert body["moisture_pct"] >= 0


@pytest.mark.parametrize(
    ("depth_ft", "cfm_per_bu", "inh2o"),
    # University of Nebraska (Dorn 2008), shelled corn.
    [(8, 1.0, 0.5), (12, 1.5, 2.1), (20, 1.0, 4.0), (14, 2.0, 4.6)],
)
def test_pressure_of_the_table(depth_ft: float, cfm_per_bu: float, inh2o: float, farm: Farm, office: Client) -> None:
    body = told(office, "airflow", {"crop": "corn", "depth_ft": depth_ft, "cfm_per_bu": cfm_per_bu})
    assert body["static_pressure_inh2o"] == pytest.approx(inh2o, abs=0.1)
    # The same air asked for by the square foot; 1.2445 ft3 a bushel of volume (UCUM).
    same = told(office, "airflow", {"crop": "corn", "depth_ft": depth_ft, "cfm_per_ft2": body["cfm_per_ft2"]})
    assert body["cfm_per_ft2"] == pytest.approx(cfm_per_bu * depth_ft / 1.244456, rel=1e-5)
    assert same["static_pressure_inh2o"] == pytest.approx(body["static_pressure_inh2o"], rel=1e-9)


def test_fan_power(farm: Farm, office: Client) -> None:
    """1 hp for 1000 bushels gives wheat 0.75 cfm a bushel up to 18 ft (North Dakota State University)."""
    asked = {"crop": "wheat", "depth_ft": 18, "cfm_per_bu": 0.75, "packing": 1.0}
    body = told(office, "airflow", asked)
    assert body["fan_hp_per_1000_bu"] == pytest.approx(1.08, abs=0.05)
    # cfm times inches over 6356 is the horsepower of the air; half of the shaft's goes into it.
    by_hand = 750 * body["static_pressure_inh2o"] / 6356 / 0.5
    assert body["fan_hp_per_1000_bu"] == pytest.approx(by_hand, rel=5e-3)


@pytest.mark.parametrize(
    ("asked", "days", "within"),
    [
        # University of Arkansas 2016; Iowa State University after Bern and others 2002; University of Kentucky.
        ({"crop": "corn", "moisture_pct": 17, "temp_f": 60}, 88, 0.02),
        ({"crop": "corn", "moisture_pct": 15, "temp_f": 50, "cold_branch": "thompson"}, 629, 0.03),
        ({"crop": "soybean", "moisture_pct": 17, "temp_f": 50}, 50, 0.03),
    ],
)
def test_storage_times_in_print(asked: Any, days: float, within: float, farm: Farm, office: Client) -> None:
    body = told(office, "storage-time", asked)
    assert body["days"] == pytest.approx(days, rel=within)
    assert body["cautions"]


def test_damage_shortens_it(farm: Farm, office: Client) -> None:
    asked = {"crop": "corn", "moisture_pct": 17, "temp_f": 60}
    sound, usual, cracked = (
        told(office, "storage-time", asked | {"damage_pct": damage})["days"] for damage in (0, None, 40)
    )
    assert sound > usual > cracked


SAMPLES: dict[str, dict[str, Any]] = {
    "equilibrium": {"temp_f": 70.0, "rh_pct": 60.0},
    "airflow": {"depth_ft": 10.0, "cfm_per_bu": 1.0},
    "storage-time": {"moisture_pct": 17.0, "temp_f": 50.0},
}


@pytest.mark.parametrize("name", SAMPLES)
def test_arrays_are_answered_as_arrays_each_as_alone(name: str, farm: Farm, office: Client) -> None:
    asked = [{"crop": crop, **SAMPLES[name]} for crop in Crop.values]
    body = told(office, name, asked)
    assert body == [told(office, name, each) for each in asked]
    assert told(office, name, []) == []


def test_mixed_branches_in_one_array(farm: Farm, office: Client) -> None:
    asked = [
        {"crop": crop, "moisture_pct": 17.0, "temp_f": 40.0, "cold_branch": branch}
        for crop in ("corn", "soybean")
        for branch in ("steele", None, "thompson")
    ]
    body = told(office, "storage-time", asked)
    assert [each["cold_branch"] for each in body] == ["steele", "steele", "thompson"] * 2
    assert body == [told(office, "storage-time", each) for each in asked]
    assert body[2]["days"] > 1.3 * body[0]["days"]


def test_refusals(farm: Farm, office: Client) -> None:
    both = {"crop": "corn", "depth_ft": 10, "cfm_per_bu": 1, "cfm_per_ft2": 10}
    assert pointers(office.post("grain/airflow", both)) == {"/cfm_per_bu": "one_figure"}
    assert pointers(office.post("grain/airflow", {"crop": "corn", "depth_ft": 0, "cfm_per_bu": 1})) == {
        "/depth_ft": "out_of_range"
    }
    colder = {"temp_f": 70, "rh_pct": 50, "heated_to_f": 60}
    assert pointers(office.post("grain/air", [{"temp_f": 70, "rh_pct": 50}, colder])) == {
        "/1/heated_to_f": "not_heated"
    }
    assert pointers(office.post("grain/equilibrium", {"crop": "corn", "temp_f": "70", "rh_pct": 101})) == {
        "/temp_f": "not_a_number",
        "/rh_pct": "out_of_range",
    }
    assert pointers(office.post("grain/storage-time", {"crop": "corn", "moisture_pct": 17, "temp_f": None})) == {
        "/temp_f": "null"
    }
    problem(Client().post("grain/air", colder), 401)


def test_airflow_through_no_depth_at_all_is_refused(office: Client) -> None:
    answer = office.post("grain/airflow", {"crop": "corn", "depth_ft": 1e-320, "cfm_per_ft2": 10.0})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/depth_ft"
