"""How large and how exact each quantity of a settlement may be; decimals and integers both rest on these bounds."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from dryrecords.core.errors import FieldError


@dataclass(frozen=True)
class Bound:
    """A quantity with at most `places` decimals, between `lowest` and `highest`; as an integer in units of 1/scale."""

    places: int
    lowest: Decimal
    highest: Decimal

    @property
    def scale(self) -> int:
        return int(10**self.places)

    @property
    def smallest(self) -> Decimal:
        return Decimal(1).scaleb(-self.places)

    def fixed(self, value: Decimal) -> int:
        """The integer that stands for an exact value."""
        return int(value.scaleb(self.places))

    def problem(self, pointer: str, value: Decimal) -> FieldError | None:
        """What is wrong with a value, if anything is."""
        if not (value.is_finite() and self.lowest <= value <= self.highest):
            return FieldError(pointer, "out_of_range", f"Must lie between {self.lowest} and {self.highest}.")
        if value != value.quantize(self.smallest):
            return FieldError(pointer, "too_exact", f"At most {self.places} decimals can be settled with.")
        return None


def _bound(places: int, lowest: str, highest: str) -> Bound:
    return Bound(places, Decimal(lowest), Decimal(highest))


# What is weighed, measured and priced. Ten million pounds is a tow of barges, not a truck.
WEIGHT_LB = _bound(2, "0", "10000000")
BUSHEL_LB = _bound(3, "10", "200")
MOISTURE_PCT = _bound(3, "0", "99.999")
PRICE_USD_BU = _bound(6, "0", "1000")

# What a schedule says. A base of 40 keeps the expansion of a credit below the base under two thirds.
BASE_PCT = _bound(3, "0", "40")
FACTOR_PCT = _bound(4, "0", "5")
HANDLING_PCT = _bound(4, "0", "10")
STEP_USD_BU = _bound(6, "0", "10")
STEP_PCT_OF_PRICE = _bound(4, "0", "100")
MINIMUM_USD_BU = _bound(6, "0", "100")

# What all steps of a schedule may add up to, at the rejection limit or at the wettest grain there is.
TOTAL_USD_BU = Decimal(1000)
TOTAL_PCT_OF_PRICE = Decimal(10000)

# What is rounded to, and the scales of what comes out: the increments of a schedule are multiples of these.
STEP_PCT = _bound(3, "0.001", "10")
BU = _bound(4, "0.0001", "1")
SHRINK_PCT = _bound(6, "0.000001", "1")
USD_BU = _bound(6, "0.000001", "1")
USD = _bound(2, "0.01", "1")

# What drying at home takes: gallons or kilowatt hours a point and wet bushel, dollars for one of them or for an hour.
USE_PER_POINT_BU = _bound(6, "0", "10")
ENERGY_USD = _bound(6, "0", "1000")
HOURS = _bound(4, "0", "10000")
