"""Units, ids, seasons and cents."""

from datetime import UTC, datetime
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.core import clock, ids
from dryrecords.core.decimals import cents
from dryrecords.core.quantities import UNITS

PINT = pint.UnitRegistry()

# Trade suffix -> the same unit in Pint (general-purpose unit library; its definitions follow NIST).
IN_PINT = {
    "lb": ("pound", "kg"),
    "ft": ("foot", "m"),
    "ft2": ("foot**2", "m**2"),
    "in": ("inch", "m"),
    "hp": ("horsepower", "W"),
    "cfm": ("foot**3/minute", "m**3/s"),
    "inh2o": ("inch_H2O_60F", "Pa"),
    "gal": ("gallon", "m**3"),
    "btu": ("Btu_it", "J"),
    "btu_h": ("Btu_it/hour", "W"),
    "btu_gal": ("Btu_it/gallon", "J/m**3"),
    "btu_per_lb": ("Btu_it/pound", "J/kg"),
    "lb_bu": ("pound/bushel", "kg/m**3"),
    "volume_bu": ("bushel", "m**3"),
    "therm": ("therm", "J"),
    "h": ("hour", "s"),
    "min": ("minute", "s"),
}


@pytest.mark.parametrize("suffix", sorted(IN_PINT))
def test_unit_agrees_with_pint(suffix: str) -> None:
    trade, si = IN_PINT[suffix]
    # An inch of water is conventional (4 deg C) here and at 60 deg F in Pint; a therm there is of 1055.056 J.
    tolerance = {"inh2o": 2e-3, "therm": 1e-6}.get(suffix, 1e-9)
    assert UNITS[suffix].to_si(3.7) == pytest.approx(PINT.Quantity(3.7, trade).to(si).magnitude, rel=tolerance)


def test_fahrenheit_agrees_with_pint() -> None:
    assert UNITS["f"].to_si(175.0) == pytest.approx(PINT.Quantity(175.0, "degF").to("degC").magnitude, abs=1e-9)


def test_every_unit_is_checked() -> None:
    assert set(UNITS) == {*IN_PINT, "f"}


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e9, 1e9).map(lambda x: float(f"{x:.9g}")))
def test_posted_value_reads_back(suffix: str, value: float) -> None:
    unit = UNITS[suffix]
    # An offset costs digits near zero; the smallest floats have none to spare.
    assert unit.from_si(unit.to_si(value)) == pytest.approx(value, rel=1e-9, abs=1e-9 if unit.offset else 1e-290)


def test_season_changes_on_the_first_of_june_local_time() -> None:
    # 04:30 UTC on 1 June is still 31 May in Chicago (UTC-5).
    assert clock.season_of(datetime(2025, 6, 1, 4, 30, tzinfo=UTC), "America/Chicago") == 2024
    assert clock.season_of(datetime(2025, 6, 1, 5, 30, tzinfo=UTC), "America/Chicago") == 2025
    assert clock.season_of(datetime(2026, 1, 15, tzinfo=UTC), "America/Chicago") == 2025


def test_ids_are_version_7_and_sort_by_time() -> None:
    made = [ids.new_id() for _ in range(3)]
    assert {one.version for one in made} == {7}
    assert {one.variant for one in made} == {"specified in RFC 4122"}
    assert made[0].int >> 80 <= made[2].int >> 80


def test_cents_round_half_up() -> None:
    # 7 CFR 868.308 rounds 2.45 to 2.5 and 8.34 to 8.3: half up, not to even and not in binary.
    assert cents(2.675) == Decimal("2.68")
    assert cents(0.125) == Decimal("0.13")
