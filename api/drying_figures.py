"""How figures of forecasts are written outside: trade units, uncertainties beside them, temperatures with an offset."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.describing import NULLABLE_TEXT
from api.figures import THERM, significant
from dryrecords.core.quantities import UNITS
from dryrecords.grain.crops import CROPS
from dryrecords.season.forecast import Curve, Taught

# Inside, outside, and the unit of core.quantities; "" as it is.
NAMES = {
    "drying_s": ("drying_h", "h"),
    "cutoff_temp_c": ("cutoff_temp_f", "f"),
    "exhaust_temp_c": ("exhaust_temp_f", "f"),
    "moisture_at_cutoff_pct": ("moisture_at_cutoff_pct", ""),
    "moisture_cooled_pct": ("moisture_cooled_pct", ""),
    "moisture_spread_pct": ("moisture_spread_pct", ""),
    "grain_temp_cooled_c": ("grain_temp_cooled_f", "f"),
    "water_removed_kg": ("water_removed_lb", "lb"),
    "bed_depth_m": ("bed_depth_ft", "ft"),
    "settled_depth_m": ("settled_depth_ft", "ft"),
    "airflow_m3_s": ("airflow_cfm", "cfm"),
    "static_pressure_pa": ("static_pressure_inh2o", "inh2o"),
    "fuel_volume_m3": ("fuel_gal", "gal"),
    "fuel_energy_j": ("fuel_btu", "btu"),
    "electricity_kwh": ("electricity_kwh", ""),
    "energy_j_per_kg_water": ("energy_btu_per_lb_water", "btu_per_lb"),
}
UNCERTAIN = ("drying_s", "cutoff_temp_c", "moisture_cooled_pct")
CURVE_DIGITS = 6
COVARIANCE_TERMS = ("ln_drying_rate", "ln_airflow", "cutoff_offset_f")


def quantity(value: float | None, unit: str) -> float | None:
    return significant(UNITS[unit].from_si(value)) if value is not None and unit else significant(value)


def difference(value: float | None, unit: str) -> float | None:
    """An uncertainty, or a difference of temperatures: the unit's size without its offset."""
    return significant(value / UNITS[unit].factor) if value is not None and unit else significant(value)


def outward(figures: Mapping[str, float | None], crop: str) -> dict[str, float | None]:
    told = {outside: quantity(figures.get(inside), unit) for inside, (outside, unit) in NAMES.items()}
    for inside in UNCERTAIN:
        outside, unit = NAMES[inside]
        told[f"{outside}_u"] = difference(figures.get(f"{inside}_u"), unit)
    refill_kg, is_gas = figures.get("refill_kg"), figures.get("fuel_volume_m3") is None
    told["refill_bu"] = None if refill_kg is None else significant(refill_kg / CROPS[crop].bushel_kg)
    told["fuel_therm"] = THERM.outward(figures.get("fuel_energy_j")) if is_gas else None
    return told


def curve(of: Curve) -> list[dict[str, float | None]]:
    """Until the batch leaves the dryer."""
    columns = (of.moisture_pct, of.grain_temp_c, of.exhaust_temp_c, of.depth_m)
    return [
        {
            "min": significant(time_s / 60.0, CURVE_DIGITS),
            "moisture_pct": significant(moisture, CURVE_DIGITS),
            "grain_temp_f": significant(quantity(grain, "f"), CURVE_DIGITS),
            "exhaust_temp_f": significant(quantity(exhaust, "f"), CURVE_DIGITS),
            "depth_ft": significant(quantity(depth, "ft"), CURVE_DIGITS),
        }
        for time_s, moisture, grain, exhaust, depth in zip(of.time_s, *columns, strict=True)
    ]


def factors(taught: Taught) -> dict[str, float | int | None]:
    """What the forecast of a batch rests on."""
    rate, airflow = taught.factors
    return {
        "batches": taught.batches,
        "rmse_pct": significant(taught.rmse_pct),
        "drying_rate": significant(rate),
        "airflow": significant(airflow),
        "cutoff_offset_f": difference(taught.cutoff_offset_c, "f"),
    }


NUMBER = {"type": ["number", "null"]}
TEXTS = {"type": "array", "items": {"type": "string"}}
FIGURES_SCHEMA: dict[str, Any] = {
    **{outside: NUMBER for outside, _ in NAMES.values()},
    **{f"{NAMES[inside][0]}_u": NUMBER for inside in UNCERTAIN},
    "refill_bu": NUMBER,
    "fuel_therm": NUMBER,
}
FACTORS_SCHEMA: dict[str, Any] = {
    "batches": {"type": "integer"},
    **dict.fromkeys(("rmse_pct", "drying_rate", "airflow", "cutoff_offset_f"), NUMBER),
}
SAID_SCHEMA: dict[str, Any] = {"model_version": NULLABLE_TEXT, "assumed": TEXTS, "cautions": TEXTS}


def schema(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": list(properties), "properties": properties}
