"""A tank's own vapour: the rule of thumb, from memory, against two published figures that do not come from it."""

from __future__ import annotations

import numpy as np
import pytest

from dryrecords.grain.energy import BTU_J
from dryrecords.grain.vaporisation import INCH_M, usual_size_m, vapour_power_w
from dryrecords.grain.volume import GALLON_M3

BTU_H = BTU_J / 3600.0


def c(temp_f: float) -> float:
    return (temp_f - 32.0) / 1.8


def given(diameter_in: float, length_in: float, level_pct: float, air_f: float) -> float:
    return float(vapour_power_w(diameter_in * INCH_M, length_in * INCH_M, level_pct, c(air_f))) / BTU_H


def test_heater_manual() -> None:
    """276,500 Btu/h for a 1,000 gal tank at -10 F, 30 % full (manual of a heater)."""
    assert given(41.0, 192.0, 30.0, -10.0) == pytest.approx(276_500.0, rel=0.005)


def test_the_rule_by_hand() -> None:
    """37 x 119 in, half full, 0 F: 37 x 119 x 90 (training literature, from memory)."""
    assert given(37.0, 119.0, 50.0, 0.0) == pytest.approx(396_270.0)
    assert given(41.0, 192.0, 10.0, 0.0) == pytest.approx(354_240.0)
    assert given(41.0, 192.0, 50.0, -25.0) == 0.0
    assert given(41.0, 192.0, 90.0, 60.0) == given(41.0, 192.0, 60.0, 20.0)


def test_generator_handbook() -> None:
    """Tanks kept half full and more that a handbook of generators asks for, by draw in cubic feet of 2,500 Btu: by this
    rule each gives it, or all but 6 %. At -30 F, where the handbook still has tanks, the rule has none to give."""
    sizes = {500: (37.0, 119.0), 1000: (41.0, 192.0)}
    for cubic_feet, air_f, gallons in ((200, 10.0, 500), (300, 20.0, 1000), (150, -10.0, 1000)):
        assert given(*sizes[gallons], 50.0, air_f) >= 0.94 * cubic_feet * 2500.0
    assert given(*sizes[500], 50.0, -30.0) == 0.0


def test_size_of_common_tanks() -> None:
    diameter, length = usual_size_m(np.array([500.0, 1000.0, 250.0, 18_000.0]) * GALLON_M3)
    assert diameter[:2] / INCH_M == pytest.approx([37.0, 41.0])
    assert length[:2] / INCH_M == pytest.approx([119.0, 192.0])
    assert np.isnan(diameter[2:]).all()
