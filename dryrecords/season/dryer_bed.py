"""A dryer's bed and the air its fans drive through it, from its record; what had to be assumed is said."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.airflow import (
    FAN_EFFICIENCY,
    operating_airflow_m3_s_m2,
    pressure_gradient_pa_m,
    resistances,
)
from dryrecords.grain.bed_grain import loaded_dry_density_kg_m3
from dryrecords.grain.cooling import IN_BIN_AIRFLOW_PER_S
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import standard_pressure_pa
from dryrecords.grain.volume import circle_area_m2


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
    area = bed_area_m2(dryer)
    depth = _depth_m(dryer, crop, moisture_in_pct, area, depth_m, wet_mass_kg)
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
    raise invalid("", "dryer_incomplete", "The dryer's record needs diameter_ft or bed_area_ft2.")


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
) -> float:
    if depth_m is not None:
        return depth_m
    if wet_mass_kg is not None:
        return wet_mass_kg / (area_m2 * wet_density_kg_m3(crop, moisture_in_pct))
    if dryer.bed_depth_m:
        return float(dryer.bed_depth_m)
    raise invalid("/bed_depth_ft", "needed", "Give bed_depth_ft or wet_mass_lb; the dryer's record has no depth.")


def _airflow_m3_s_m2(
    dryer: Dryer, crop: str, area_m2: float, depth_m: float, airflow_m3_s: float | None, assumed: Assumptions
) -> float:
    if airflow_m3_s is not None:
        return airflow_m3_s / area_m2
    power = air_power_w(dryer, "drying", assumed)
    if power:
        return float(operating_airflow_m3_s_m2(power / area_m2, depth_m, resistances(np.array(crop))))
    raise invalid("/airflow_cfm", "needed", "Give airflow_cfm; the dryer's record names no drying fan.")


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
    if power:
        return float(operating_airflow_m3_s_m2(power / area_m2, depth_m, resistances(np.array(crop))))
    assumed.say("No cooling fan is recorded: 0.2 cfm a bushel in the bin (North Dakota State University).")
    return IN_BIN_AIRFLOW_PER_S * depth_m
