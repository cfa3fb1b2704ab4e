"""The edge and the numeric core each hold the units they need, because neither imports the other: to the last bit."""

from __future__ import annotations

import pytest

from dryrecords.core import quantities
from dryrecords.grain import airflow, crops, energy, volume

PAIRS = {
    "foot": (quantities.FOOT_M, volume.FOOT_M),
    "inch": (quantities.UNITS["in"].factor, volume.INCH_M),
    "pound": (quantities.POUND_KG, crops.POUND_KG),
    "gallon": (quantities.GALLON_M3, volume.GALLON_M3),
    "bushel": (quantities.BUSHEL_M3, volume.BUSHEL_M3),
    "test weight": (quantities.UNITS["lb_bu"].factor, volume.TEST_WEIGHT_KG_M3_PER_LB_BU),
    "Btu": (quantities.BTU_J, energy.BTU_J),
    "therm": (quantities.UNITS["therm"].factor, energy.THERM_J),
    "horsepower": (quantities.HORSEPOWER_W, energy.HORSEPOWER_W),
    "cubic foot a minute": (quantities.UNITS["cfm"].factor, airflow.CFM_M3_S),
    "inch of water": (quantities.INCH_OF_WATER_PA, airflow.INCH_WATER_PA),
}


@pytest.mark.parametrize("unit", PAIRS)
def test_both_hold_the_same(unit: str) -> None:
    at_the_edge, in_the_core = PAIRS[unit]
    assert at_the_edge == in_the_core
