"""Numbers at the edge: trade units outside, SI under the same stem inside, told by the suffix of the name."""

from __future__ import annotations

import math
from typing import Any

from rest_framework import serializers

from dryrecords.core.quantities import UNITS, Unit
from dryrecords.tenancy.rules import Limits, limits_of

# No quantity of a farm comes near it, and nothing computed from quantities below it overflows.
LARGEST = 1e12


def unit_of(name: str) -> Unit | None:
    """The unit that a field's name ends in; None for `_pct`, `_kwh` and numbers without a unit."""
    endings = [suffix for suffix in UNITS if name.endswith(f"_{suffix}")]
    return UNITS[max(endings, key=len)] if endings else None


def column_of(name: str, unit: Unit | None) -> str:
    """`wet_mass_lb` -> `wet_mass_kg`: the stem stays."""
    if unit is None:
        return name
    # A bushel of volume is written like any bushel.
    return name.removesuffix(unit.suffix.removeprefix("volume_")) + unit.si_suffix


class QuantityField(serializers.FloatField):
    """A number in the trade unit of its name. A class for another system of units would override `unit_for` only."""

    default_error_messages = {
        "not_a_number": "Must be a number, written without quotes.",
        "out_of_range": "Must be {limits}.",
    }

    def __init__(self, *, unit: str = "", limits: Limits | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.given_unit = unit
        # In the unit of the wire.
        self.limits = limits

    def unit_for(self, name: str) -> Unit | None:
        return UNITS[self.given_unit] if self.given_unit else unit_of(name)

    def bind(self, field_name: str, parent: Any) -> None:
        self.unit = self.unit_for(field_name)
        column = column_of(field_name, self.unit)
        if column != field_name:
            self.source = column
        self.si_limits = limits_of(parent.model, column) if getattr(parent, "model", None) else Limits()
        si = self.si_limits
        limits = self.limits or Limits(*map(self.outward, (si.low, si.high, si.above)))
        low = -LARGEST if limits.low is None and limits.above is None else limits.low
        self.limits = Limits(low, min(limits.high or LARGEST, LARGEST), limits.above)
        super().bind(field_name, parent)

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float) or not math.isfinite(data):
            self.fail("not_a_number")
        if not self.limits.allow(data):
            self.fail("out_of_range", limits=self.limits)
        return self.inward(data)

    def inward(self, data: float) -> float:
        """The column's value. The limit itself, converted, may miss the database's limit by the last bit."""
        value = self.unit.to_si(data) if self.unit else float(data)
        low, high = self.si_limits.low, self.si_limits.high
        value = value if low is None else max(value, low)
        return value if high is None else min(value, high)

    def outward(self, value: float | None) -> float | None:
        if value is None or self.unit is None:
            return value
        return self.unit.from_si(float(value))


class QueryQuantityField(QuantityField):
    """The same as a query parameter, which arrives as text and has no record to belong to."""

    default_error_messages = {"not_a_number": "Must be a number."}

    def __init__(self, name: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.bind(name, None)

    def to_internal_value(self, data: Any) -> float:
        try:
            return super().to_internal_value(float(data))
        except ValueError:
            self.fail("not_a_number")
