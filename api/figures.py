"""How derived figures are written outside: group, name and trade unit of each, its uncertainty beside it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from api.meanings import MEANINGS, UNCERTAINTY
from dryrecords.core.decimals import cents
from dryrecords.core.quantities import UNITS

SIGNIFICANT_DIGITS = 10
# Beyond this a float has no cents.
LARGEST_AMOUNT = 1e13


def significant(value: float | None, digits: int = SIGNIFICANT_DIGITS) -> float | None:
    """A figure without the noise of its last bits; None where there is none."""
    return float(f"{value:.{digits}g}") if value is not None and math.isfinite(value) else None


@dataclass(frozen=True)
class Shown:
    """A figure outside: inside which group, under which name, in which unit of core.quantities ("" as it is)."""

    name: str
    unit: str = ""
    group: str = ""

    @property
    def is_amount(self) -> bool:
        """An amount of money; a rate such as `usd_per_point_bu` keeps its digits."""
        return self.name.endswith("_usd")

    def outward(self, value: float | None) -> float | None:
        """Figure and uncertainty alike: no figure has a unit with an offset."""
        if value is None or not math.isfinite(value):
            return None
        if self.is_amount and abs(value) < LARGEST_AMOUNT:
            return float(cents(value))
        return significant(value / (UNITS[self.unit].factor if self.unit else 1.0))


SHOWN = {
    "moisture_in_pct": Shown("moisture_in_pct"),
    "moisture_out_pct": Shown("moisture_out_pct"),
    "points_removed": Shown("points_removed"),
    "wet_mass_kg": Shown("wet_mass_lb", "lb"),
    "dry_mass_kg": Shown("dry_mass_lb", "lb"),
    "dry_matter_kg": Shown("dry_matter_lb", "lb"),
    "water_removed_kg": Shown("water_removed_lb", "lb"),
    "wet_bu": Shown("wet_bu"),
    "dry_bu": Shown("dry_bu"),
    "base_bu": Shown("base_bu"),
    "market_bu": Shown("market_bu"),
    "shrink_water_pct": Shown("water_pct", group="shrink"),
    "shrink_handling_pct": Shown("handling_pct", group="shrink"),
    "shrink_total_pct": Shown("total_pct", group="shrink"),
    "fuel_volume_m3": Shown("fuel_gal", "gal"),
    "fuel_energy_j": Shown("fuel_btu", "btu"),
    "electricity_kwh": Shown("electricity_kwh"),
    "expected_fuel_energy_j": Shown("fuel_btu", "btu", "expected"),
    "expected_electricity_kwh": Shown("electricity_kwh", group="expected"),
    "energy_j_per_kg_water": Shown("energy_btu_per_lb_water", "btu_per_lb"),
    "fuel_j_per_kg_water": Shown("fuel_btu_per_lb_water", "btu_per_lb"),
    "latent_heat_j": Shown("latent_btu", "btu", "heat"),
    "grain_heat_j": Shown("grain_btu", "btu", "heat"),
    "other_heat_j": Shown("other_btu", "btu", "heat"),
    "thermal_efficiency_pct": Shown("thermal_efficiency_pct"),
    "fuel_m3_per_point_bu": Shown("gal_per_point_bu", "gal"),
    "drying_s": Shown("drying_h", "h"),
    "throughput_bu_h": Shown("throughput_bu_h"),
    "cost_fuel_usd": Shown("fuel_usd", group="cost"),
    "cost_electricity_usd": Shown("electricity_usd", group="cost"),
    "cost_total_usd": Shown("total_usd", group="cost"),
    "cost_usd_per_point_bu": Shown("usd_per_point_bu", group="cost"),
    "over_drying_points": Shown("points", group="over_drying"),
    "over_drying_water_kg": Shown("water_lb", "lb", "over_drying"),
    "over_drying_unsold_bu": Shown("unsold_bu", group="over_drying"),
    "over_drying_unsold_usd": Shown("unsold_usd", group="over_drying"),
    "over_drying_extra_fuel_m3": Shown("extra_fuel_gal", "gal", "over_drying"),
    "over_drying_extra_fuel_usd": Shown("extra_fuel_usd", group="over_drying"),
    "over_drying_extra_electricity_kwh": Shown("extra_electricity_kwh", group="over_drying"),
    "over_drying_extra_electricity_usd": Shown("extra_electricity_usd", group="over_drying"),
    "over_drying_extra_s": Shown("extra_h", "h", "over_drying"),
    "over_drying_total_usd": Shown("total_usd", group="over_drying"),
    "under_drying_points": Shown("points", group="under_drying"),
}
# A gas meter counts therms, so gas has no gallons.
THERM = Shown("fuel_therm", "therm")


def outward(values: Mapping[str, float | None]) -> dict[str, Any]:
    """Figures by their names inside, each with `<name>_u` if that is given, as they are nested outside."""
    told: dict[str, Any] = {}
    for inside, shown in SHOWN.items():
        place = told.setdefault(shown.group, {}) if shown.group else told
        for ending in ("", "_u"):
            if f"{inside}{ending}" in values:
                place[f"{shown.name}{ending}"] = shown.outward(values[f"{inside}{ending}"])
    return {name: value for name, value in told.items() if value != {}}


def schema(names: Mapping[str, Any] | list[str]) -> dict[str, Any]:
    """What `outward` answers to figures of these names, for the OpenAPI document."""
    properties: dict[str, Any] = {}
    for place, name, meaning in _places(names):
        inside = properties
        if place:
            inside = properties.setdefault(place, {"type": "object", "properties": {}})["properties"]
        inside[name] = {"type": ["number", "null"], "description": meaning}
    for inner in properties.values():
        if "properties" in inner:
            inner["required"] = list(inner["properties"])
    return properties


def _places(names: Mapping[str, Any] | list[str]) -> Iterator[tuple[str, str, str]]:
    """Group, name and meaning of each figure."""
    for inside, shown in SHOWN.items():
        for ending, meaning in (("", MEANINGS[inside]), ("_u", UNCERTAINTY)):
            if f"{inside}{ending}" in names:
                yield shown.group, f"{shown.name}{ending}", meaning
