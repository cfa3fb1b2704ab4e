"""Expected fuel against extension rules and measured farm dryers."""

from __future__ import annotations

import numpy as np
import pytest

from dryrecords.grain.crops import isotherms
from dryrecords.grain.demand import expected_fuel_j, heat_over_useful
from dryrecords.grain.energy import BTU_J, PROPANE_J_PER_M3, mean_latent_heat_j_kg
from dryrecords.grain.volume import GALLON_M3


def c(temp_f: float) -> float:
    return (temp_f - 32.0) / 1.8


def test_colder_air_costs_what_extension_says() -> None:
    """About 14 % more for air that is 20 F colder (Iowa State University Extension 2022)."""
    mild, cold = heat_over_useful(c(160.0), c(np.array([50.0, 30.0])), 70.0)
    assert cold / mild - 1.0 == pytest.approx(0.14, abs=0.03)


def test_hotter_plenum_costs_less() -> None:
    """200 F against 150 F: NDSU says about 20 % less a pound of water, the bed model of this house 10 %."""
    cool, hot = heat_over_useful(c(np.array([150.0, 200.0])), c(50.0), 65.0)
    assert 0.0 < 1.0 - hot / cool < 0.2


def test_corn_from_25_to_15_percent_takes_what_farm_dryers_took() -> None:
    """0.018 gal a point and bushel on average, 0.010 to 0.025 (Iowa State extension IC-492, 2004)."""
    latent = float(np.squeeze(mean_latent_heat_j_kg(25.0, 15.0, c(50.0), isotherms(np.array("corn")))))
    water_kg, dry_kg = 6.588 * 0.45359237, 49.412 * 0.45359237
    useful = water_kg * latent + dry_kg * 2000.0 * 0.5 * (160.0 - 50.0) / 1.8
    used = expected_fuel_j(useful, heat_over_useful(c(160.0), c(50.0), 65.0))
    gallons = used / PROPANE_J_PER_M3 / GALLON_M3 / 10.0
    assert 0.015 < gallons < 0.022
    assert 2000.0 < used / BTU_J / 6.588 < 3000.0


def test_what_is_not_known_is_taken_as_usual() -> None:
    assert heat_over_useful(np.nan, np.nan, np.nan) == pytest.approx(float(heat_over_useful(71.1, 10.0, 70.0)))
    # Air that is hardly warmed, or not at all, has no ratio to speak of: bounded.
    assert 1.0 < float(heat_over_useful(5.0, 10.0, 70.0)) < 20.0
