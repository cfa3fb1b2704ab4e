"""A dryer's bed and the air its fans drive through it, from its record; what had to be assumed is said."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.airflow import (
    CFM_PER_BUSHEL_PER_S,
    FAN_EFFICIENCY,
    operating_airflow_m3_s_m2,
    pressure_gradient_pa_m,
    resistances,
)
from dryrecords.grain.bed_grain import loaded_dry_density_kg_m3
from dryrecords.grain.cooling import COOLING_RULE_AIR_CHANGES, IN_BIN_AIRFLOW_PER_S
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import standard_pressure_pa
from dryrecords.grain.volume import FOOT_M, circle_area_m2

# Beds that the model is asked for: from a hand's width to a tall bin, and no more air than any dryer moves. Thinner
# beds and faster air only make the model's steps short. Our own choice.
SHALLOWEST_M, DEEPEST_M = 0.1, 12.0
MOST_AIRFLOW_PER_S = 150.0 * CFM_PER_BUSHEL_PER_S
LEAST_AIRFLOW_PER_S = 0.02 * CFM_PER_BUSHEL_PER_S


@dataclass
class Assumptions:
    """What was taken from elsewhere than the record or the request, in words."""

    said: list[str] = field(default_factory=list)

    def say(self, sentence: str) -> None:
        if sentence not in self.said:
            self.said.append(sentence)


@dataclass(frozen=True)
class DryerBed:
    """A bed as loaded and its air, SI."""

    area_m2: float
    depth_m: float
    airflow_m3_s_m2: float
    static_pressure_pa: float
    bin_airflow_m3_s_m2: float
    bin_static_pressure_pa: float
    pressure_pa: float
    sensor_height_m: float

    @property
    def cooling_front_s(self) -> float:
        """Time in which the drying fan's air cools the bed; University of Nebraska: 15 h at 1 cfm a bushel."""
        return COOLING_RULE_AIR_CHANGES * self.depth_m / self.airflow_m3_s_m2

    @property
    def bin_cooling_front_s(self) -> float:
        """The same for the fan of the bin."""
        return COOLING_RULE_AIR_CHANGES * self.depth_m / self.bin_airflow_m3_s_m2


def dryer_bed(
    dryer: Dryer,
    crop: str,
    moisture_in_pct: float,
    assumed: Assumptions,
    *,
    depth_m: float | None = None,
    wet_mass_kg: float | None = None,
    airflow_m3_s: float | None = None,
) -> DryerBed:
    """Errors name these arguments, or `bed_depth_m` where the depth is wrong, and none where the record lacks a thing.

    Raises
    ------
    Invalid
        Without a floor area, a depth or an airflow, and for a bed that no dryer has.
    """
    area = bed_area_m2(dryer)
    depth = _depth_m(dryer, crop, moisture_in_pct, area, depth_m, wet_mass_kg, assumed)
    bed = resistances(np.array(crop))
    airflow = _airflow_m3_s_m2(dryer, crop, area, depth, airflow_m3_s, assumed)
    bin_airflow = _bin_airflow_m3_s_m2(dryer, crop, area, depth, assumed)
    elevation = dryer.site.elevation_m
    if elevation is None:
        assumed.say("The site's elevation is not recorded: sea level.")
    return DryerBed(
        area_m2=area,
        depth_m=depth,
        airflow_m3_s_m2=airflow,
        static_pressure_pa=float(pressure_gradient_pa_m(airflow, bed)) * depth,
        bin_airflow_m3_s_m2=bin_airflow,
        bin_static_pressure_pa=float(pressure_gradient_pa_m(bin_airflow, bed)) * depth,
        pressure_pa=float(standard_pressure_pa(elevation or 0.0)),
        sensor_height_m=math.nan if dryer.sensor_height_m is None else dryer.sensor_height_m,
    )


def bed_area_m2(dryer: Dryer) -> float:
    if dryer.bed_area_m2:
        return float(dryer.bed_area_m2)
    if dryer.diameter_m:
        return float(circle_area_m2(dryer.diameter_m))
    raise invalid("", "dryer_incomplete", "The dryer's record has neither a diameter nor a bed area.")


def wet_density_kg_m3(crop: str, moisture_pct: float) -> float:
    """Mass of wet grain in each m3 of a bed as loaded."""
    fraction = np.asarray(dry_basis_pct(moisture_pct)) / 100.0
    return float(loaded_dry_density_kg_m3(crop, fraction) * (1.0 + fraction))


def _depth_m(
    dryer: Dryer,
    crop: str,
    moisture_in_pct: float,
    area_m2: float,
    depth_m: float | None,
    wet_mass_kg: float | None,
    assumed: Assumptions,
) -> float:
    if depth_m is not None:
        depth, name = depth_m, "bed_depth_m"
    elif wet_mass_kg is not None:
        depth, name = wet_mass_kg / (area_m2 * wet_density_kg_m3(crop, moisture_in_pct)), "wet_mass_kg"
    elif dryer.bed_depth_m:
        depth, name = float(dryer.bed_depth_m), "bed_depth_m"
    elif dryer.holding_capacity_m3:
        assumed.say("The bed is as deep as the dryer's holding capacity fills it.")
        depth, name = dryer.holding_capacity_m3 / area_m2, "bed_depth_m"
    else:
        raise invalid("/bed_depth_m", "needed", "The dryer's record has no bed depth or holding capacity: give one.")
    if not SHALLOWEST_M <= depth <= DEEPEST_M:
        raise invalid(
            f"/{name}", "out_of_range", f"The bed would be {_feet(depth)} deep; the model is for 0.33 to 39 ft."
        )
    return depth


def _feet(depth_m: float) -> str:
    return f"{depth_m / FOOT_M:.3g} ft"


def _airflow_m3_s_m2(
    dryer: Dryer, crop: str, area_m2: float, depth_m: float, airflow_m3_s: float | None, assumed: Assumptions
) -> float:
    if airflow_m3_s is not None:
        airflow = airflow_m3_s / area_m2
    else:
        power = air_power_w(dryer, "drying", assumed)
        if not power:
            raise invalid("/airflow_m3_s", "needed", "The dryer's record names no drying fan with its power.")
        airflow = float(operating_airflow_m3_s_m2(power / area_m2, depth_m, resistances(np.array(crop))))
    if math.isnan(airflow):
        raise invalid("/airflow_m3_s", "needed", f"No resistance to air is known of {crop}: give the airflow.")
    if not LEAST_AIRFLOW_PER_S <= airflow / depth_m <= MOST_AIRFLOW_PER_S:
        per_bu = airflow / depth_m / CFM_PER_BUSHEL_PER_S
        raise invalid(
            "/airflow_m3_s",
            "out_of_range",
            f"That would be {per_bu:.3g} cfm a bushel; the model is for 0.02 to 150.",
        )
    return airflow


def air_power_w(dryer: Dryer, purpose: str, assumed: Assumptions) -> float:
    """Airflow times pressure of the fans of one purpose: as rated, or shaft power times an efficiency."""
    total = 0.0
    for fan in dryer.fans:
        if fan.get("purpose") != purpose:
            continue
        if fan.get("airflow_m3_s") and fan.get("static_pressure_pa"):
            total += fan["airflow_m3_s"] * fan["static_pressure_pa"]
            assumed.say("A fan is taken to hold the air power it is rated at on other beds too.")
        elif fan.get("power_w"):
            total += fan["power_w"] * FAN_EFFICIENCY
            assumed.say(f"A fan's air power is {FAN_EFFICIENCY:g} of its shaft power: common practice, no source.")
    return total


def _bin_airflow_m3_s_m2(dryer: Dryer, crop: str, area_m2: float, depth_m: float, assumed: Assumptions) -> float:
    power = air_power_w(dryer, "cooling", assumed)
    bed = resistances(np.array(crop))
    airflow = float(operating_airflow_m3_s_m2(power / area_m2, depth_m, bed)) if power else math.nan
    if math.isnan(airflow):
        assumed.say("No cooling fan is recorded: 0.2 cfm a bushel in the bin (North Dakota State University).")
        return IN_BIN_AIRFLOW_PER_S * depth_m
    return min(max(airflow, LEAST_AIRFLOW_PER_S * depth_m), MOST_AIRFLOW_PER_S * depth_m)
