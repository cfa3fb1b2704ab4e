"""Quantities: trade units at the edge, SI inside, one stem each (`wet_mass_lb` outside, `wet_mass_kg` inside)."""

from __future__ import annotations

import math
from dataclasses import dataclass

# Exact by definition: international foot, pound and inch; US liquid gallon 231 in3 (NIST SP 811, appendix B).
FOOT_M = 0.3048
INCH_M = 0.0254
POUND_KG = 0.45359237
GALLON_M3 = 231 * INCH_M**3
# Winchester bushel 2150.42 in3 exactly (UCUM, [bu_us]).
BUSHEL_M3 = 2150.42 * INCH_M**3
# International table Btu (NIST SP 811, appendix B.8); a therm is billed as 100,000 Btu.
BTU_J = 1055.05585262
# Mechanical horsepower, 550 ft lbf/s (NIST SP 811, appendix B.8).
HORSEPOWER_W = 745.69987158227022
# Inch of water, conventional (NIST SP 811, appendix B.8).
INCH_OF_WATER_PA = 249.08891


@dataclass(frozen=True)
class Unit:
    """One trade unit and the SI unit behind it: si = value * factor + offset."""

    suffix: str
    si_suffix: str
    factor: float
    offset: float = 0.0
    # A temperature difference has no offset, and its uncertainty has none either.

    def to_si(self, value: float) -> float:
        return value * self.factor + self.offset

    def from_si(self, value: float) -> float:
        return round_significant((value - self.offset) / self.factor)


UNITS: dict[str, Unit] = {
    unit.suffix: unit
    for unit in (
        Unit("lb", "kg", POUND_KG),
        Unit("f", "c", 5 / 9, -32 * 5 / 9),
        Unit("ft", "m", FOOT_M),
        Unit("ft2", "m2", FOOT_M**2),
        Unit("in", "m", INCH_M),
        Unit("hp", "w", HORSEPOWER_W),
        Unit("cfm", "m3_s", FOOT_M**3 / 60),
        Unit("inh2o", "pa", INCH_OF_WATER_PA),
        Unit("gal", "m3", GALLON_M3),
        Unit("therm", "j", 100_000 * BTU_J),
        Unit("btu", "j", BTU_J),
        Unit("btu_h", "w", BTU_J / 3600),
        Unit("btu_gal", "j_m3", BTU_J / GALLON_M3),
        Unit("btu_per_lb", "j_per_kg", BTU_J / POUND_KG),
        # Test weight: pounds per Winchester bushel of volume.
        Unit("lb_bu", "kg_m3", POUND_KG / BUSHEL_M3),
        # Holding capacity is a volume; bushels of grain are a mass and stay `_bu`.
        Unit("volume_bu", "m3", BUSHEL_M3),
        Unit("h", "s", 3600.0),
        Unit("min", "s", 60.0),
    )
}


def round_significant(value: float) -> float:
    """Twelve significant digits: hides the last bits of a unit round trip, so that 25.4 lb reads back as 25.4."""
    return float(f"{value:.12g}") if math.isfinite(value) else value
