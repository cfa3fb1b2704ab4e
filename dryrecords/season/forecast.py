"""Forecast of a batch: how long, when to stop, what comes out, with what the dryer's own batches have taught."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.bed import MODEL_VERSION, BedRun, BedScenario, run_bed
from dryrecords.grain.cooling import COOLING_RULE_AIR_CHANGES
from dryrecords.grain.dryer_fit import sensor_temp_c, stacked
from dryrecords.grain.energy import PROPANE_J_PER_M3
from dryrecords.grain.psychrometrics import heated_rh_pct
from dryrecords.grain.thin_layer import crop_drying
from dryrecords.season import cautions
from dryrecords.season.dryer_bed import Assumptions, DryerBed, dryer_bed, wet_density_kg_m3

COOLING_IN_DRYER_S = 30 * 60.0
OVERNIGHT_S = 12 * 3600.0
LONGEST_DRYING_S = 48 * 3600.0

# Hot moistures tried above the target, to find the one from which cooling ends at it.
TRIED_ABOVE_PCT = np.array([-0.5, 0.0, 0.5, 1.0, 1.75, 2.75, 4.0])
STEP = 0.02


@dataclass(frozen=True)
class Wanted:
    """What is asked for, SI."""

    crop: str
    moisture_in_pct: float
    target_moisture_pct: float
    plenum_temp_c: float
    ambient_temp_c: float
    ambient_rh_pct: float
    grain_temp_c: float | None = None
    bed_depth_m: float | None = None
    wet_mass_kg: float | None = None
    airflow_m3_s: float | None = None
    cooling: str = "in_bin"
    cooled_to_c: float | None = None


@dataclass(frozen=True)
class Taught:
    """What a calibration knows of the dryer; as it stands here, of any dryer before its first batch."""

    batches: int = 0
    rmse_pct: float | None = None
    log_drying_rate: float = 0.0
    log_airflow: float = 0.0
    cutoff_offset_c: float = 0.0
    # Standard deviations of the three above, and of a cooled sample about what the model expects.
    sd: tuple[float, float, float] = (0.30, 0.25, 6.0)
    scatter_pct: float = 0.6


@dataclass(frozen=True)
class Curve:
    time_s: list[float]
    moisture_pct: list[float | None]
    grain_temp_c: list[float | None]
    exhaust_temp_c: list[float | None]
    depth_m: list[float | None]


@dataclass(frozen=True)
class Forecast:
    """Figures in SI; `x_u` is the standard uncertainty of x."""

    figures: dict[str, float | None]
    curve: Curve
    taught: Taught
    assumed: list[str]
    cautions: list[str]
    model_version: str
    calibrated_crop: bool


def forecast(dryer: Dryer, wanted: Wanted, taught: Taught) -> Forecast:
    """Find where to stop so that the cooled grain is at the target, then run that batch and its near neighbours."""
    if wanted.target_moisture_pct >= wanted.moisture_in_pct:
        raise invalid("/target_moisture_pct", "not_drier", "The target must be below moisture_in_pct.")
    if wanted.plenum_temp_c <= wanted.ambient_temp_c:
        raise invalid("/plenum_temp_f", "not_heated", "The plenum must be warmer than the ambient air.")
    assumed = Assumptions()
    bed = _bed(dryer, wanted, assumed)
    scenario = scenario_of(wanted, bed, taught, assumed)
    stop_pct = _stop_moisture_pct(scenario, wanted.target_moisture_pct)
    planned = replace(scenario, stop_moisture_pct=np.array([stop_pct]))
    run = run_bed(planned)
    if not np.isfinite(run.moisture_cooled_pct[0]):
        raise invalid("", "no_forecast", "These values are outside of what the drying model can compute.")
    figures = _figures(bed, wanted, run, taught) | _uncertainties(planned, run, taught)
    if run.stop_reason[0] == "limit":
        assumed.say("The target is not reached within 48 h of heated air: the figures are those at 48 h.")
    return Forecast(
        figures=figures,
        curve=_curve(run),
        taught=taught,
        assumed=assumed.said,
        cautions=[*cautions.FORECAST, *cautions.of_heat(wanted.crop, dryer.type, wanted.plenum_temp_c)],
        model_version=MODEL_VERSION,
        calibrated_crop=crop_drying(wanted.crop).is_calibrated,
    )


def _bed(dryer: Dryer, wanted: Wanted, assumed: Assumptions) -> DryerBed:
    return dryer_bed(
        dryer,
        wanted.crop,
        wanted.moisture_in_pct,
        assumed,
        depth_m=wanted.bed_depth_m,
        wet_mass_kg=wanted.wet_mass_kg,
        airflow_m3_s=wanted.airflow_m3_s,
    )


def scenario_of(wanted: Wanted, bed: DryerBed, taught: Taught, assumed: Assumptions) -> BedScenario:
    """One batch without a rule to stop by."""
    if wanted.grain_temp_c is None:
        assumed.say("The grain is taken to come in at the ambient temperature.")
    if not crop_drying(wanted.crop).is_calibrated:
        assumed.say(f"No drying law for {wanted.crop} is trusted: that of corn, uncalibrated.")
    cooled_to = max(wanted.ambient_temp_c, wanted.cooled_to_c or wanted.ambient_temp_c)
    in_bin = wanted.cooling == "in_bin"
    if in_bin:
        assumed.say("Cooling in the bin goes on overnight, 12 h, or as long as the airflow needs.")
    elif wanted.cooling == "in_dryer":
        assumed.say("Cooling in the dryer goes on for 30 minutes.")
    front_s = COOLING_RULE_AIR_CHANGES * bed.depth_m / bed.bin_airflow_m3_s_m2
    one = np.array([1.0])
    return BedScenario(
        crop=np.array([wanted.crop]),
        moisture_in_pct=one * wanted.moisture_in_pct,
        grain_temp_c=one * (wanted.ambient_temp_c if wanted.grain_temp_c is None else wanted.grain_temp_c),
        plenum_temp_c=one * wanted.plenum_temp_c,
        ambient_temp_c=one * wanted.ambient_temp_c,
        ambient_rh_pct=one * wanted.ambient_rh_pct,
        bed_depth_m=one * bed.depth_m,
        airflow_m3_s_m2=one * bed.airflow_m3_s_m2,
        pressure_pa=one * bed.pressure_pa,
        drying_rate_factor=one * math.exp(taught.log_drying_rate),
        airflow_factor=one * math.exp(taught.log_airflow),
        sensor_height_m=one * bed.sensor_height_m,
        cooling_s=one * (COOLING_IN_DRYER_S if wanted.cooling == "in_dryer" else 0.0),
        bin_cooling_s=one * (max(OVERNIGHT_S, front_s) if in_bin else 0.0),
        bin_airflow_m3_s_m2=one * bed.bin_airflow_m3_s_m2,
        bin_air_temp_c=one * cooled_to,
        bin_air_rh_pct=one * float(heated_rh_pct(wanted.ambient_temp_c, wanted.ambient_rh_pct, cooled_to)),
        static_pressure_pa=one * bed.static_pressure_pa,
        bin_static_pressure_pa=one * bed.bin_static_pressure_pa,
    ).spread()


def _stop_moisture_pct(scenario: BedScenario, target_pct: float) -> float:
    """The hot moisture from which cooling ends at the target, between two that were tried."""
    wettest = float(np.asarray(scenario.moisture_in_pct)[0]) - 0.05
    tried = np.unique(np.minimum(target_pct + TRIED_ABOVE_PCT, wettest))
    runs = run_bed(replace(stacked([scenario] * tried.size), stop_moisture_pct=tried))
    cooled = runs.moisture_cooled_pct
    known = np.isfinite(cooled) & (runs.stop_reason != "limit")
    if not known.any():
        return target_pct
    order = np.argsort(cooled[known])
    return float(np.interp(target_pct, cooled[known][order], tried[known][order]))


def _figures(bed: DryerBed, wanted: Wanted, run: BedRun, taught: Taught) -> dict[str, float | None]:
    area = bed.area_m2
    water = float(run.water_removed_kg_m2[0]) * area
    fuel_j = float(run.fuel_energy_j_m2[0]) * area
    fan_j = float(run.fan_energy_j_m2[0]) * area
    room_m = max(bed.depth_m - float(run.settled_depth_m[0]), 0.0)
    density = wet_density_kg_m3(wanted.crop, wanted.moisture_in_pct)
    return {
        name: None if math.isnan(value) else value
        for name, value in {
            "drying_s": float(run.drying_s[0]),
            "cutoff_temp_c": float(sensor_temp_c(run)[0]) + taught.cutoff_offset_c,
            "exhaust_temp_c": float(run.exhaust_temp_at_stop_c[0]),
            "moisture_at_cutoff_pct": float(run.moisture_at_stop_pct[0]),
            "moisture_cooled_pct": float(run.moisture_cooled_pct[0]),
            "moisture_spread_pct": float(run.wettest_at_stop_pct[0] - run.driest_at_stop_pct[0]),
            "water_removed_kg": water,
            "settled_depth_m": float(run.settled_depth_m[0]),
            "refill_kg": room_m * area * density,
            "bed_depth_m": bed.depth_m,
            "airflow_m3_s": bed.airflow_m3_s_m2 * area * math.exp(taught.log_airflow),
            "static_pressure_pa": bed.static_pressure_pa,
            "fuel_energy_j": fuel_j,
            "fuel_m3": fuel_j / PROPANE_J_PER_M3,
            "electricity_kwh": fan_j / 3.6e6,
            "energy_j_per_kg_water": (fuel_j + fan_j) / water if water > 0 else math.nan,
        }.items()
    }


def _uncertainties(planned: BedScenario, run: BedRun, taught: Taught) -> dict[str, float | None]:
    """First order in the factors: how the time for the target, and what a fixed cut-off leaves, would move."""
    cutoff = float(sensor_temp_c(run)[0])
    by_sensor = bool(np.isfinite(run.sensor_temp_at_stop_c[0]))
    held = {"stop_sensor_temp_c" if by_sensor else "stop_exhaust_temp_c": np.full(2, cutoff)}
    factors = {
        "drying_rate_factor": np.exp([taught.log_drying_rate + STEP, taught.log_drying_rate]),
        "airflow_factor": np.exp([taught.log_airflow, taught.log_airflow + STEP]),
    }
    pair = stacked([planned] * 2)
    by_target = run_bed(replace(pair, **factors))
    by_cutoff = run_bed(replace(pair, stop_moisture_pct=np.full(2, np.nan), **held, **factors))
    sd = np.array(taught.sd[:2])
    time_slope = (by_target.drying_s - run.drying_s[0]) / STEP
    left_slope = (by_cutoff.moisture_cooled_pct - run.moisture_cooled_pct[0]) / STEP
    cutoff_slope = (sensor_temp_c(by_target) - cutoff) / STEP
    return {
        name: None if math.isnan(value) else value
        for name, value in {
            "drying_s_u": float(np.sqrt(np.sum((time_slope * sd) ** 2))),
            "moisture_cooled_pct_u": float(np.sqrt(np.sum((left_slope * sd) ** 2) + taught.scatter_pct**2)),
            "cutoff_temp_c_u": float(np.sqrt(np.sum((cutoff_slope * sd) ** 2) + taught.sd[2] ** 2)),
        }.items()
    }


def _curve(run: BedRun) -> Curve:
    def column(values: np.ndarray) -> list[float | None]:
        return [None if math.isnan(x) else x for x in values[0].tolist()]

    return Curve(
        time_s=run.curve_s.tolist(),
        moisture_pct=column(run.curve_moisture_pct),
        grain_temp_c=column(run.curve_grain_temp_c),
        exhaust_temp_c=column(run.curve_exhaust_temp_c),
        depth_m=column(run.curve_depth_m),
    )
