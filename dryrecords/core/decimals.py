"""The only door from float to decimal."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


def from_float(value: float, step: Decimal) -> Decimal:
    """Round half up to a multiple of a decimal step, from the shortest text that reads back as the float."""
    return Decimal(repr(value)).quantize(step, rounding=ROUND_HALF_UP)


def cents(value: float) -> Decimal:
    return from_float(value, CENT)


def published(value: float) -> Decimal:
    """A derived figure with the ten significant digits it is shown with: what is charged follows from what is shown."""
    return Decimal(f"{value:.10g}")
