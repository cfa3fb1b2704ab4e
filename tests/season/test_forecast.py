"""The forecast of a batch through a dryer's record: targets met, invariants, and what is said of assumptions."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dryrecords.core.errors import Invalid
from dryrecords.equipment.models import Dryer, Tank
from dryrecords.grain.airflow import CFM_PER_BUSHEL_PER_S
from dryrecords.grain.bed import run_bed
from dryrecords.season import forecast as forecasting
from dryrecords.season.dryer_bed import Assumptions, dryer_bed
from dryrecords.season.forecast import Forecast, Taught, Wanted, forecast, scatter_pct, scenario_of
from dryrecords.tenancy.models import Site
from tests.season.scene import F

WANTED = Wanted("corn", 25.0, 14.0, F(160), 10.0, 65.0)
AREA_M2 = math.pi * 3.6576**2


def dryer(**values: Any) -> Dryer:
    """24 ft across, 15 hp."""
    given = {
        "site": Site(elevation_m=300.0),
        "type": "batch_in_bin",
        "diameter_m": 7.3152,
        "bed_depth_m": 0.5,
        "fans": [{"purpose": "drying", "power_w": 11_185.0}],
    }
    return Dryer(**(given | values))


def told(wanted: Wanted = WANTED, taught: Taught | None = None, **values: Any) -> Forecast:
    return forecast(dryer(**values), wanted, taught or Taught())


def figures(**changes: Any) -> dict[str, Any]:
    return told(replace(WANTED, **changes)).figures


@pytest.mark.parametrize("moisture_in", [18.0, 22.0, 27.0])
@pytest.mark.parametrize("target", [13.0, 15.5])
@pytest.mark.parametrize("plenum", [F(120), F(180)])
@pytest.mark.parametrize("cooling", ["in_bin", "in_dryer"])
def test_the_target_is_met(moisture_in: float, target: float, plenum: float, cooling: str) -> None:
    made = figures(moisture_in_pct=moisture_in, target_moisture_pct=target, plenum_temp_c=plenum, cooling=cooling)
    assert made["moisture_cooled_pct"] == pytest.approx(target, abs=0.1)
    assert made["moisture_at_cutoff_pct"] > target


def test_a_bad_first_guess_is_corrected(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forecasting, "_stop_moisture_pct", lambda *_: 19.0)
    assert figures()["moisture_cooled_pct"] == pytest.approx(14.0, abs=0.05)


def test_invariants() -> None:
    usual = figures()
    hotter, wetter, deeper = figures(plenum_temp_c=F(190)), figures(moisture_in_pct=28.0), figures(bed_depth_m=0.9)
    assert hotter["drying_s"] < usual["drying_s"]
    assert hotter["moisture_spread_pct"] > usual["moisture_spread_pct"]
    assert hotter["energy_j_per_kg_water"] < usual["energy_j_per_kg_water"]
    assert wetter["drying_s"] > usual["drying_s"]
    # The same fan on a deeper bed: less air through it, and more grain above it.
    assert deeper["drying_s"] > usual["drying_s"]
    assert deeper["airflow_m3_s"] < usual["airflow_m3_s"]
    assert deeper["static_pressure_pa"] > usual["static_pressure_pa"]


def test_the_same_air_for_each_bushel_gives_the_same_forecast() -> None:
    thin, thick = (
        figures(bed_depth_m=depth, airflow_m3_s=20 * CFM_PER_BUSHEL_PER_S * depth * AREA_M2) for depth in (0.61, 0.76)
    )
    for name in ("drying_s", "moisture_at_cutoff_pct", "moisture_spread_pct", "moisture_cooled_pct"):
        assert thick[name] == pytest.approx(thin[name], rel=0.005), name


def test_amounts_agree_with_each_other() -> None:
    made = figures(wet_mass_kg=12_000.0)
    dry_matter = 12_000.0 * 0.75
    water = dry_matter * (25 / 75 - made["moisture_cooled_pct"] / (100 - made["moisture_cooled_pct"]))
    assert made["water_removed_kg"] == pytest.approx(water, rel=1e-3)
    spent = made["fuel_energy_j"] + 3.6e6 * made["electricity_kwh"]
    assert made["energy_j_per_kg_water"] == pytest.approx(spent / made["water_removed_kg"], rel=1e-9)
    # 91,333 Btu a gallon: US Energy Information Administration.
    gallons = made["fuel_energy_j"] / 1055.05585262 / 91_333
    assert made["fuel_volume_m3"] == pytest.approx(gallons * 231 * 0.0254**3, rel=1e-9)
    # What has settled is filled again with grain as wet as it came.
    room = made["bed_depth_m"] - made["settled_depth_m"]
    assert made["refill_kg"] == pytest.approx(12_000.0 * room / made["bed_depth_m"], rel=1e-9)


def test_a_sensor_that_shows_more_is_cut_off_later_by_as_much() -> None:
    """The batch is the same; what the sensor shows at its end is not."""
    plain, shifted = told(), told(taught=Taught(cutoff_offset_c=5.0))
    assert shifted.figures["cutoff_temp_c"] == pytest.approx(plain.figures["cutoff_temp_c"] + 5.0, abs=1e-9)
    assert shifted.figures["drying_s"] == plain.figures["drying_s"]


def test_a_faster_dryer_is_done_sooner() -> None:
    assert told(taught=Taught(log_drying_rate=0.3)).figures["drying_s"] < told().figures["drying_s"]


def test_uncertainty_against_simulation() -> None:
    """First order against dryers drawn from what is taught; correlated, as a fit leaves its factors."""
    covariance = np.array([[0.06**2, -0.5 * 0.06 * 0.05, 0.0], [-0.5 * 0.06 * 0.05, 0.05**2, 0.0], [0, 0, 1.5**2]])
    taught = Taught(covariance=covariance, scatter_pct=0.0)
    made = told(taught=taught).figures
    bed = dryer_bed(dryer(), "corn", 25.0, Assumptions())
    one = scenario_of(dryer(), WANTED, bed, taught, Assumptions())
    draws = np.random.default_rng(5).multivariate_normal(np.zeros(3), covariance, 600)
    many = one.take(np.zeros(len(draws), dtype=int))
    factors = {"drying_rate_factor": np.exp(draws[:, 0]), "airflow_factor": np.exp(draws[:, 1])}
    by_target = run_bed(replace(many, stop_moisture_pct=np.full(600, made["moisture_at_cutoff_pct"]), **factors))
    by_cutoff = run_bed(replace(many, stop_exhaust_temp_c=made["cutoff_temp_c"] - draws[:, 2], **factors))
    assert made["drying_s_u"] == pytest.approx(by_target.drying_s.std(), rel=0.12)
    shown = by_target.exhaust_temp_at_stop_c + draws[:, 2]
    assert made["cutoff_temp_c_u"] == pytest.approx(shown.std(), rel=0.12)
    assert made["moisture_cooled_pct_u"] == pytest.approx(by_cutoff.moisture_cooled_pct.std(), rel=0.12)


def test_few_batches_that_fit_by_chance_are_no_proof() -> None:
    assert scatter_pct(None, 0) == 0.6
    assert scatter_pct(0.0, 1) == pytest.approx(0.6 * math.sqrt(4 / 5))
    assert scatter_pct(0.3, 10_000) == pytest.approx(0.3, rel=1e-3)


def test_an_airflow_that_was_measured_is_left_alone() -> None:
    taught = Taught(log_airflow=0.2)
    assert told(replace(WANTED, airflow_m3_s=10.0), taught).figures["airflow_m3_s"] == pytest.approx(10.0)
    assert told(taught=taught).figures["airflow_m3_s"] == pytest.approx(math.exp(0.2) * figures()["airflow_m3_s"])


def test_cooling_to_the_freezing_point_is_not_cooling_to_the_air_outside() -> None:
    cold = replace(WANTED, ambient_temp_c=-10.0)
    to_freezing, to_air = told(replace(cold, cooled_to_c=0.0)), told(cold)
    assert to_freezing.figures["grain_temp_cooled_c"] == pytest.approx(0.0, abs=2.0)
    assert to_air.figures["grain_temp_cooled_c"] < -7.0
    colder = told(replace(WANTED, cooled_to_c=-5.0))
    assert colder.figures == told().figures
    assert any("no further" in said for said in colder.assumed)


def test_grain_that_stays_where_it_is_dried_is_cooled_there() -> None:
    deep = told(replace(WANTED, bed_depth_m=None, plenum_temp_c=F(110)), type="in_bin", bed_depth_m=2.0)
    assert any("in the dryer" in said for said in deep.assumed)
    assert deep.figures["grain_temp_cooled_c"] < deep.figures["exhaust_temp_c"]


def test_gas_is_not_counted_in_gallons() -> None:
    made = told(tank=Tank(fuel="natural_gas")).figures
    assert made["fuel_volume_m3"] is None
    assert made["fuel_energy_j"] == told().figures["fuel_energy_j"]


def test_what_cannot_be_reached_is_said_and_has_no_uncertainty() -> None:
    made = told(replace(WANTED, target_moisture_pct=3.0, plenum_temp_c=F(90)))
    assert made.figures["drying_s"] == pytest.approx(48 * 3600.0)
    assert made.figures.get("drying_s_u") is None
    assert any("48 h" in said for said in made.assumed)


def test_a_target_between_what_is_reached_and_what_is_not() -> None:
    """Some of what is tried on the way is reached, the target itself is not."""
    dry = {"crop": "canola", "moisture_in_pct": 5.0, "target_moisture_pct": 1.0, "plenum_temp_c": F(110)}
    made = told(replace(WANTED, **dry, bed_depth_m=3.0))
    assert any("48 h" in said for said in made.assumed)


def test_grain_that_cooling_alone_takes_below_the_target() -> None:
    made = told(replace(WANTED, moisture_in_pct=15.2, target_moisture_pct=15.1, grain_temp_c=60.0))
    assert any("Cooling alone" in said for said in made.assumed)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"type": "continuous_flow"}, "rough"),
        ({"site": Site()}, "sea level"),
        ({"sensor_height_m": None}, "leaves the bed"),
        ({"bed_depth_m": None, "holding_capacity_m3": 21.0}, "holding capacity"),
    ],
)
def test_assumptions_of_the_record_are_said(values: dict[str, Any], words: str) -> None:
    assert any(words in said for said in told(**values).assumed)


def test_a_sensor_in_the_bed_is_not_where_the_air_leaves() -> None:
    inside = told(sensor_height_m=0.3)
    assert inside.figures["cutoff_temp_c"] > inside.figures["exhaust_temp_c"]
    assert not any("leaves the bed" in said for said in inside.assumed)


def test_a_crop_without_a_law_of_its_own() -> None:
    made = told(replace(WANTED, crop="soybean", moisture_in_pct=17.0, target_moisture_pct=13.0, plenum_temp_c=F(110)))
    assert not made.calibrated_crop
    assert any("uncalibrated" in said for said in made.assumed)
    assert made.figures["moisture_cooled_pct"] == pytest.approx(13.0, abs=0.1)


def test_heat_above_a_published_limit_is_pointed_out() -> None:
    """120 to 160 F for corn in batch bins: extension text."""
    assert any("160 F" in said for said in told(replace(WANTED, plenum_temp_c=F(175))).cautions)
    assert not any("hotter" in said for said in told(replace(WANTED, plenum_temp_c=F(159))).cautions)


@pytest.mark.parametrize(
    ("wanted", "values", "pointer"),
    [
        ({"target_moisture_pct": 25.0}, {}, "/target_moisture_pct"),
        ({"plenum_temp_c": 10.0}, {}, "/plenum_temp_c"),
        ({"bed_depth_m": 0.05}, {}, "/bed_depth_m"),
        ({"wet_mass_kg": 5e6}, {}, "/wet_mass_kg"),
        ({"airflow_m3_s": 900.0}, {}, "/airflow_m3_s"),
        ({"crop": "rye"}, {}, "/airflow_m3_s"),
        ({}, {"fans": []}, "/airflow_m3_s"),
        ({}, {"bed_depth_m": None}, "/bed_depth_m"),
        ({}, {"diameter_m": None}, ""),
    ],
)
def test_refusals_name_what_is_wrong(wanted: dict[str, Any], values: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        told(replace(WANTED, **wanted), **values)
    assert refused.value.errors[0].pointer == pointer


def test_every_crop_with_its_airflow_given() -> None:
    for crop in ("rye", "flax", "canola", "rough_rice", "oats", "sunflower", "sorghum", "barley", "wheat"):
        made = figures(
            crop=crop, airflow_m3_s=6.0, moisture_in_pct=20.0, target_moisture_pct=13.0, plenum_temp_c=F(110)
        )
        assert made["moisture_cooled_pct"] == pytest.approx(13.0, abs=0.15), crop
