"""What each derived figure is called on a page, in which unit it is written, and to how many decimals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dryrecords.core.quantities import UNITS
from dryrecords.office import written


@dataclass(frozen=True)
class Words:
    label: str
    # A unit of core.quantities; or what is written as it is.
    unit: str = ""
    after: str = ""
    digits: int | None = None
    is_money: bool = False

    @property
    def sign(self) -> str:
        return self.after or (written.sign(self.unit) if self.unit else "")

    def outward(self, value: float | None) -> float | None:
        return None if value is None else value / (UNITS[self.unit].factor if self.unit else 1.0)


# What a batch and a season show of the same.
SHRINK = ("water_removed_kg", "shrink_water_pct", "shrink_handling_pct", "shrink_total_pct")
OVER_DRYING = (
    "over_drying_points",
    "over_drying_unsold_bu",
    "over_drying_unsold_usd",
    "over_drying_extra_fuel_m3",
    "over_drying_extra_fuel_usd",
    "over_drying_extra_s",
    "under_drying_points",
)

WORDS: dict[str, Words] = {
    "moisture_in_pct": Words("Moisture in", after="%", digits=1),
    "moisture_out_pct": Words("Moisture out", after="%", digits=1),
    "points_removed": Words("Points removed", digits=1),
    "wet_mass_kg": Words("Wet grain", "lb"),
    "dry_mass_kg": Words("Dry grain", "lb"),
    "dry_matter_kg": Words("Dry matter", "lb"),
    "water_removed_kg": Words("Water removed", "lb"),
    "wet_bu": Words("Wet bushels", after="bu"),
    "dry_bu": Words("Dry bushels", after="bu"),
    "base_bu": Words("Bushels at base moisture", after="bu"),
    "market_bu": Words("Market bushels", after="bu"),
    "shrink_water_pct": Words("Shrink, water", after="%", digits=2),
    "shrink_handling_pct": Words("Shrink, handling", after="%", digits=2),
    "shrink_total_pct": Words("Shrink in all", after="%", digits=2),
    "fuel_volume_m3": Words("Fuel", "gal"),
    "fuel_energy_j": Words("Fuel, as heat", "therm"),
    "electricity_kwh": Words("Electricity", after="kWh"),
    "energy_j_per_kg_water": Words("Energy per pound of water", "btu_per_lb"),
    "fuel_j_per_kg_water": Words("Fuel per pound of water", "btu_per_lb"),
    "latent_heat_j": Words("Heat that evaporated water", "therm", digits=1),
    "grain_heat_j": Words("Heat that left with the grain", "therm", digits=1),
    "other_heat_j": Words("Heat in exhaust air and losses", "therm", digits=1),
    "thermal_efficiency_pct": Words("Share of energy that evaporated water", after="%"),
    "fuel_m3_per_point_bu": Words("Fuel per point and bushel", "gal", digits=4),
    "drying_s": Words("Drying time", "h", digits=1),
    "throughput_bu_h": Words("Wet bushels an hour", after="bu/h"),
    "cost_fuel_usd": Words("Cost of fuel", is_money=True),
    "cost_electricity_usd": Words("Cost of electricity", is_money=True),
    "cost_total_usd": Words("Cost of energy", is_money=True),
    "cost_usd_per_point_bu": Words("Energy cost per point and bushel", digits=4, is_money=True),
    "over_drying_points": Words("Points below base", digits=2),
    "over_drying_water_kg": Words("Water taken out below base", "lb"),
    "over_drying_unsold_bu": Words("Bushels not sold", after="bu"),
    "over_drying_unsold_usd": Words("Those bushels", is_money=True),
    "over_drying_extra_fuel_m3": Words("Fuel burnt below base", "gal"),
    "over_drying_extra_fuel_usd": Words("That fuel", is_money=True),
    "over_drying_extra_electricity_kwh": Words("Electricity used below base", after="kWh"),
    "over_drying_extra_electricity_usd": Words("That electricity", is_money=True),
    "over_drying_extra_s": Words("Time spent below base", "h", digits=1),
    "over_drying_total_usd": Words("Lost to over-drying", is_money=True),
    "under_drying_points": Words("Points above base", digits=2),
}


@dataclass(frozen=True)
class Line:
    """A figure as it stands on a page."""

    label: str
    text: str
    # Of the page that tells more of it.
    href: str = ""


def told(values: Mapping[str, Any], name: str, currency: str = "USD") -> str:
    """The figure with its uncertainty and unit; a dash where it is not known."""
    words = WORDS[name]
    value, u = values.get(name), values.get(f"{name}_u")
    if words.is_money:
        return written.money(value, currency, u, 2 if words.digits is None else words.digits)
    text = written.with_u(words.outward(value), words.outward(u), words.digits or 0)
    return text if text == written.NOTHING or not words.sign else f"{text} {words.sign}"


def lines(values: Mapping[str, Any], names: Sequence[str], currency: str = "USD") -> list[Line]:
    """Of those that are known."""
    found = [Line(WORDS[name].label, told(values, name, currency)) for name in names]
    return [line for line in found if line.text != written.NOTHING]


def fuel_names(values: Mapping[str, Any], gas_batches: int) -> list[str]:
    """Of a season: where gas was burnt beside others, gallons are not all of it, and therms stand with them."""
    return ["fuel_volume_m3", "fuel_energy_j"] if _is_mixed(values, gas_batches) else [fuel_name(values)]


def fuel_note(values: Mapping[str, Any], gas_batches: int) -> str:
    if not _is_mixed(values, gas_batches):
        return ""
    burnt = written.counted(gas_batches, "batch", "batches")
    return f"Gallons leave out the gas that {burnt} burnt; fuel as heat has all of it."


def _is_mixed(values: Mapping[str, Any], gas_batches: int) -> bool:
    return bool(gas_batches) and values.get("fuel_volume_m3") is not None


def fuel_name(values: Mapping[str, Any]) -> str:
    """Gallons; therms where gas was burnt."""
    is_gas = values.get("fuel_volume_m3") is None and values.get("fuel_energy_j") is not None
    return "fuel_energy_j" if is_gas else "fuel_volume_m3"
