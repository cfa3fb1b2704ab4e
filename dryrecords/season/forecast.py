"""Forecast of a batch: how long, when to stop, what comes out, with what the dryer's own batches have taught."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.bed import MODEL_VERSION, BedRun, BedScenario, run_bed
from dryrecords.grain.dryer_fit import PRIOR_SD, sensor_temp_c, stacked
from dryrecords.grain.energy import FUELS
from dryrecords.grain.psychrometrics import heated_rh_pct
from dryrecords.grain.thin_layer import crop_drying
from dryrecords.season import cautions
from dryrecords.season.dryer_bed import Assumptions, DryerBed, dryer_bed, wet_density_kg_m3

OVERNIGHT_S = 12 * 3600.0
DEFAULT_RH_PCT = 65.0
IN_BIN, IN_DRYER = "in_bin", "in_dryer"

# Hot moistures tried above the target, to find the one from which cooling ends at it.
TRIED_ABOVE_PCT = np.array([-0.5, 0.0, 0.5, 1.0, 1.75, 2.75, 4.0])
# A batch that the model can stop is drier than it came by so much; a forecast this close to the target is good enough.
LEAST_DRYING_PCT, CLOSE_PCT = 0.05, 0.02
MOST_CORRECTIONS = 4

# Steps of the factors' logarithms and of the sensor [K], for slopes.
STEP, STEP_K = 0.02, 0.5
# How far a cooled sample lies from what the model expects, before a dryer has shown it, and the number of batches
# that this is worth. Common practice, no source.
SCATTER_PCT, SCATTER_BATCHES = 0.6, 4.0


@dataclass(frozen=True)
class Wanted:
    """What is asked for, SI."""

    crop: str
    moisture_in_pct: float
    target_moisture_pct: float
    plenum_temp_c: float
    ambient_temp_c: float
    ambient_rh_pct: float | None = None
    grain_temp_c: float | None = None
    bed_depth_m: float | None = None
    wet_mass_kg: float | None = None
    airflow_m3_s: float | None = None
    # IN_BIN or IN_DRYER; empty for what is usual with the kind of dryer.
    cooling: str = ""
    cooled_to_c: float | None = None


def _of_any_dryer() -> FloatArray:
    return np.diag(PRIOR_SD**2)


@dataclass(frozen=True)
class Taught:
    """What a calibration knows of the dryer; as it stands here, of any dryer before its first batch."""

    batches: int = 0
    rmse_pct: float | None = None
    log_drying_rate: float = 0.0
    log_airflow: float = 0.0
    # What the sensor shows beyond the model's air.
    cutoff_offset_c: float = 0.0
    # Of the three above.
    covariance: FloatArray = field(default_factory=_of_any_dryer)
    # Standard deviation of a cooled sample about what the model expects.
    scatter_pct: float = SCATTER_PCT

    @property
    def factors(self) -> tuple[float, float]:
        """On the model's drying rate and airflow."""
        return math.exp(self.log_drying_rate), math.exp(self.log_airflow)


def scatter_pct(shown_pct: float | None, batches: int) -> float:
    """A dryer's own scatter, drawn towards what is expected of any: a few that fit by chance are no proof."""
    if shown_pct is None:
        return SCATTER_PCT
    squares = SCATTER_BATCHES * SCATTER_PCT**2 + batches * shown_pct**2
    return math.sqrt(squares / (SCATTER_BATCHES + batches))


@dataclass(frozen=True)
class Curve:
    time_s: list[float]
    moisture_pct: list[float | None]
    grain_temp_c: list[float | None]
    exhaust_temp_c: list[float | None]
    depth_m: list[float | None]
    # What the dryer's own sensor would show, its offset included; where there is none, the exhaust air.
    sensor_temp_c: list[float | None]


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
    """Find where to stop so that the cooled grain is at the target, then run that batch and its near neighbours.

    Errors name the fields of Wanted.
    """
    if wanted.target_moisture_pct >= wanted.moisture_in_pct:
        raise invalid("/target_moisture_pct", "not_drier", "The target must be below the moisture in.")
    if wanted.plenum_temp_c <= wanted.ambient_temp_c:
        raise invalid("/plenum_temp_c", "not_heated", "The plenum must be warmer than the ambient air.")
    assumed = Assumptions()
    bed = _bed(dryer, wanted, assumed)
    if wanted.airflow_m3_s is not None:
        taught = _with_airflow_given(taught, assumed)
    scenario = scenario_of(dryer, wanted, bed, taught, assumed)
    planned, run = _to_the_target(scenario, wanted.target_moisture_pct)
    if not np.isfinite(run.moisture_cooled_pct[0]):
        raise invalid("", "no_forecast", "These values are outside of what the drying model can compute.")
    _say_what_came_of_it(wanted, run, assumed)
    return Forecast(
        figures=_figures(dryer, bed, wanted, run, taught) | _uncertainties(planned, run, taught),
        curve=curve_of(run, taught),
        taught=taught,
        assumed=assumed.said,
        cautions=[*cautions.FORECAST, *cautions.of_heat(wanted.crop, dryer.type, wanted.plenum_temp_c)],
        model_version=MODEL_VERSION,
        calibrated_crop=crop_drying(wanted.crop).is_calibrated,
    )


def _with_airflow_given(taught: Taught, assumed: Assumptions) -> Taught:
    """What batches taught of the fan does not touch an airflow that somebody measured."""
    assumed.say("The airflow is taken as given, without an uncertainty.")
    covariance = taught.covariance.copy()
    covariance[1, :] = covariance[:, 1] = 0.0
    return replace(taught, log_airflow=0.0, covariance=covariance)


def _say_what_came_of_it(wanted: Wanted, run: BedRun, assumed: Assumptions) -> None:
    if run.stop_reason[0] == "limit":
        assumed.say("The target is not reached within 48 h of heated air: the figures are those at 48 h.")
    elif run.moisture_cooled_pct[0] < wanted.target_moisture_pct - 0.1:
        assumed.say("Cooling alone takes this grain below the target.")
    if np.isnan(run.sensor_temp_at_stop_c[0]):
        assumed.say("The sensor's height is not recorded: the cut-off is that of the air that leaves the bed.")


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


def scenario_of(dryer: Dryer, wanted: Wanted, bed: DryerBed, taught: Taught, assumed: Assumptions) -> BedScenario:
    """One batch without a rule to stop by."""
    _say_what_is_simplified(dryer, wanted, assumed)
    in_bin = (wanted.cooling or usual_cooling(dryer)) == IN_BIN
    cooled_to = _cooled_to_c(wanted, in_bin, assumed)
    air = math.exp(taught.log_airflow)
    one = np.array([1.0])
    return BedScenario(
        crop=np.array([wanted.crop]),
        moisture_in_pct=one * wanted.moisture_in_pct,
        grain_temp_c=one * (wanted.ambient_temp_c if wanted.grain_temp_c is None else wanted.grain_temp_c),
        plenum_temp_c=one * wanted.plenum_temp_c,
        ambient_temp_c=one * wanted.ambient_temp_c,
        ambient_rh_pct=one * _ambient_rh_pct(wanted),
        bed_depth_m=one * bed.depth_m,
        airflow_m3_s_m2=one * bed.airflow_m3_s_m2,
        pressure_pa=one * bed.pressure_pa,
        drying_rate_factor=one * math.exp(taught.log_drying_rate),
        airflow_factor=one * air,
        sensor_height_m=one * bed.sensor_height_m,
        cooling_s=one * (0.0 if in_bin else bed.cooling_front_s / air),
        bin_cooling_s=one * (max(OVERNIGHT_S, bed.bin_cooling_front_s) if in_bin else 0.0),
        bin_airflow_m3_s_m2=one * bed.bin_airflow_m3_s_m2,
        bin_air_temp_c=one * cooled_to,
        bin_air_rh_pct=one * _rh_at(wanted, cooled_to),
        static_pressure_pa=one * bed.static_pressure_pa,
        bin_static_pressure_pa=one * bed.bin_static_pressure_pa,
    ).spread()


def usual_cooling(dryer: Dryer) -> str:
    """Grain that is dried where it is stored stays there."""
    return IN_DRYER if dryer.type == Dryer.Type.IN_BIN else IN_BIN


def _say_what_is_simplified(dryer: Dryer, wanted: Wanted, assumed: Assumptions) -> None:
    if dryer.type == Dryer.Type.CONTINUOUS_FLOW:
        assumed.say("The model is of a fixed bed. In this dryer the grain moves: take its figures as rough.")
    if wanted.grain_temp_c is None:
        assumed.say("The grain is taken to come in at the ambient temperature.")
    if wanted.ambient_rh_pct is None:
        assumed.say(f"The relative humidity outside is taken as {DEFAULT_RH_PCT:g} %.")
    if not crop_drying(wanted.crop).is_calibrated:
        assumed.say(f"No drying law for {wanted.crop} is trusted: that of corn, uncalibrated.")
    assumed.say("The burner is direct-fired: its water goes into the drying air.")


def _cooled_to_c(wanted: Wanted, in_bin: bool, assumed: Assumptions) -> float:
    """Temperature of the air that cools; no air cools below the ambient temperature."""
    given, ambient = wanted.cooled_to_c, wanted.ambient_temp_c
    if not in_bin:
        assumed.say("Cooling in the dryer is with ambient air until a cooling front has passed the bed.")
        return ambient
    assumed.say("Cooling in the bin goes on for 12 h, or as long as its airflow needs, with this batch alone in it.")
    if given is not None and given < ambient:
        assumed.say("Ambient air cools to the ambient temperature and no further.")
    return ambient if given is None else max(given, ambient)


def _rh_at(wanted: Wanted, temp_c: float) -> float:
    return float(heated_rh_pct(wanted.ambient_temp_c, _ambient_rh_pct(wanted), temp_c))


def _ambient_rh_pct(wanted: Wanted) -> float:
    return DEFAULT_RH_PCT if wanted.ambient_rh_pct is None else wanted.ambient_rh_pct


def _to_the_target(scenario: BedScenario, target_pct: float) -> tuple[BedScenario, BedRun]:
    """The batch that cooling ends at the target: between two that were tried, then corrected by what it misses."""
    wettest = float(np.asarray(scenario.moisture_in_pct)[0]) - LEAST_DRYING_PCT
    stop = _stop_moisture_pct(scenario, target_pct, wettest)
    for _ in range(MOST_CORRECTIONS):
        planned = replace(scenario, stop_moisture_pct=np.array([stop]))
        run = run_bed(planned)
        miss = target_pct - float(run.moisture_cooled_pct[0])
        corrected = min(max(stop + miss, LEAST_DRYING_PCT), wettest)
        if run.stop_reason[0] == "limit" or not abs(miss) > CLOSE_PCT or corrected == stop:
            break
        stop = corrected
    return planned, run


def _stop_moisture_pct(scenario: BedScenario, target_pct: float, wettest_pct: float) -> float:
    """The hot moisture from which cooling ends at the target; the target itself where nothing tried came that far."""
    tried = np.unique(np.clip(target_pct + TRIED_ABOVE_PCT, LEAST_DRYING_PCT, wettest_pct))
    runs = run_bed(replace(stacked([scenario] * tried.size), stop_moisture_pct=tried))
    cooled = runs.moisture_cooled_pct
    known = np.isfinite(cooled) & (runs.stop_reason != "limit")
    if not known.any() or (cooled[known].min() > target_pct and not known.all()):
        return min(target_pct, wettest_pct)
    order = np.argsort(cooled[known])
    return float(np.interp(target_pct, cooled[known][order], tried[known][order]))


def _figures(dryer: Dryer, bed: DryerBed, wanted: Wanted, run: BedRun, taught: Taught) -> dict[str, float | None]:
    area = bed.area_m2
    water = float(run.water_removed_kg_m2[0]) * area
    fuel_j = float(run.fuel_energy_j_m2[0]) * area
    fan_j = float(run.fan_energy_j_m2[0]) * area
    room_m = max(bed.depth_m - float(run.settled_depth_m[0]), 0.0)
    density = wet_density_kg_m3(wanted.crop, wanted.moisture_in_pct)
    energy_j_per_m3 = FUELS[dryer.tank.fuel if dryer.tank else "propane"].energy_j_per_m3
    return _known(
        {
            "drying_s": float(run.drying_s[0]),
            "cutoff_temp_c": float(sensor_temp_c(run)[0]) + taught.cutoff_offset_c,
            "exhaust_temp_c": float(run.exhaust_temp_at_stop_c[0]),
            "grain_temp_cooled_c": float(run.grain_temp_cooled_c[0]),
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
            # Gas is counted in therms, not in gallons.
            "fuel_volume_m3": fuel_j / energy_j_per_m3 if energy_j_per_m3 else math.nan,
            "electricity_kwh": fan_j / 3.6e6,
            "energy_j_per_kg_water": (fuel_j + fan_j) / water if water > 0 else math.nan,
        }
    )


def _uncertainties(planned: BedScenario, run: BedRun, taught: Taught) -> dict[str, float | None]:
    """First order in what is taught: how time and cut-off for the target, and what a fixed cut-off leaves, would move.

    Equation    u^2 = g C g, C the covariance of (ln drying rate, ln airflow, sensor offset), g the slopes; JCGM
                100:2008, 5.2.2
    """
    if run.stop_reason[0] == "limit":
        return {}
    cutoff = float(sensor_temp_c(run)[0])
    by_sensor = bool(np.isfinite(run.sensor_temp_at_stop_c[0]))
    rate, air = taught.log_drying_rate, taught.log_airflow
    # Target held with either factor moved; then the cut-off held, moved last by an offset that the sensor hides.
    moved = replace(
        stacked([planned] * 5),
        drying_rate_factor=np.exp(rate + STEP * np.array([1, 0, 1, 0, 0])),
        airflow_factor=np.exp(air + STEP * np.array([0, 1, 0, 1, 0])),
        stop_moisture_pct=np.where(np.arange(5) < 2, planned.stop_moisture_pct, np.nan),
        **{
            "stop_sensor_temp_c" if by_sensor else "stop_exhaust_temp_c": np.array(
                [math.nan, math.nan, cutoff, cutoff, cutoff - STEP_K]
            )
        },
    )
    near = run_bed(moved)
    steps = np.array([STEP, STEP, STEP, STEP, STEP_K])
    time = (near.drying_s - run.drying_s[0]) / steps
    shown = (sensor_temp_c(near) - cutoff) / steps
    left = (near.moisture_cooled_pct - run.moisture_cooled_pct[0]) / steps
    return _known(
        {
            "drying_s_u": _propagated(time[:2], taught),
            "cutoff_temp_c_u": _propagated(np.append(shown[:2], 1.0), taught),
            "moisture_cooled_pct_u": math.hypot(_propagated(left[2:], taught), taught.scatter_pct),
        }
    )


def _propagated(slopes: FloatArray, taught: Taught) -> float:
    covariance = taught.covariance[: slopes.size, : slopes.size]
    return math.sqrt(max(float(slopes @ covariance @ slopes), 0.0))


def _known(figures: dict[str, float]) -> dict[str, float | None]:
    return {name: value if math.isfinite(value) else None for name, value in figures.items()}


def curve_of(run: BedRun, taught: Taught) -> Curve:
    def column(values: np.ndarray) -> list[float | None]:
        return [x if math.isfinite(x) else None for x in values[0].tolist()]

    has_sensor = bool(np.isfinite(run.sensor_temp_at_stop_c[0]))
    shown = run.curve_sensor_temp_c if has_sensor else run.curve_exhaust_temp_c
    return Curve(
        time_s=run.curve_s.tolist(),
        moisture_pct=column(run.curve_moisture_pct),
        grain_temp_c=column(run.curve_grain_temp_c),
        exhaust_temp_c=column(run.curve_exhaust_temp_c),
        depth_m=column(run.curve_depth_m),
        sensor_temp_c=column(shown + taught.cutoff_offset_c),
    )
