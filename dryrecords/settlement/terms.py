"""The terms of a discount schedule as values: roundings, shrink, steps of discounts and charges."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

ZERO = Decimal(0)
ONE = Decimal(1)
HUNDRED = Decimal(100)

MODES = ("half_up", "half_even", "up", "down")
METHODS = ("factor", "dry_matter")
BELOW_BASE = ("none", "credit")
CHARGED_ON = ("wet_bu", "net_bu")


@dataclass(frozen=True)
class Rounding:
    """To a multiple of `step`. Signs are kept apart: half up and up go away from zero, down goes towards it."""

    step: Decimal
    mode: str = "half_up"

    def of(self, numerator: Decimal, denominator: Decimal = ONE) -> Decimal:
        """A quotient rounded once; by whole number and remainder, because most quotients have no exact decimal."""
        unit = self.step * denominator
        whole, rest = divmod(abs(numerator), unit)
        if rest and self._goes_up(whole, 2 * rest, unit):
            whole += ONE
        rounded = whole * self.step
        return -rounded if numerator < 0 else rounded

    def _goes_up(self, whole: Decimal, twice_rest: Decimal, unit: Decimal) -> bool:
        if self.mode == "up":
            return True
        if self.mode == "down":
            return False
        if twice_rest == unit:
            return self.mode == "half_up" or whole % 2 == 1
        return twice_rest > unit


@dataclass(frozen=True)
class Band:
    """Steps between two moistures: each started step adds its amount. `up_to_pct` None means without end."""

    above_pct: Decimal
    up_to_pct: Decimal | None
    step_pct: Decimal
    per_step_usd_bu: Decimal = ZERO
    per_step_pct_of_price: Decimal = ZERO

    def steps_begun(self, moisture_pct: Decimal) -> Decimal:
        into = moisture_pct - self.above_pct
        if self.up_to_pct is not None:
            into = min(into, self.up_to_pct - self.above_pct)
        if into <= 0:
            return ZERO
        whole, rest = divmod(into, self.step_pct)
        return whole + 1 if rest else whole


@dataclass(frozen=True)
class Shrink:
    """Percent of the wet bushels that are not paid, handling included; never more than all of them.

    factor      factor x (moisture - base) + handling
    dry_matter  100 x (moisture - base) / (100 - base) + handling: the dry matter at the base, exactly

    Handling is lost where grain is dried: above the base. Below it there is no shrink, or with a credit a negative one.
    """

    method: str
    base_moisture_pct: Decimal
    factor_pct_per_point: Decimal = ZERO
    handling_pct: Decimal = ZERO
    below_base: str = "none"

    def pct(self, moisture_pct: Decimal, rounding: Rounding) -> Decimal:
        points = moisture_pct - self.base_moisture_pct
        if points <= 0 and self.below_base == "none":
            return rounding.of(ZERO)
        handling = self.handling_pct if points > 0 else ZERO
        if self.method == "factor":
            pct = rounding.of(self.factor_pct_per_point * points + handling)
        else:
            left = HUNDRED - self.base_moisture_pct
            pct = rounding.of(HUNDRED * points + handling * left, left)
        return min(pct, HUNDRED)


@dataclass(frozen=True)
class DryingCharge:
    """Dollars for drying: so much a point, or steps; never less than the minimum once there is something to dry."""

    base_moisture_pct: Decimal
    on: str
    per_point_usd_bu: Decimal = ZERO
    bands: tuple[Band, ...] = ()
    minimum_usd_bu: Decimal = ZERO

    def usd_bu(self, moisture_pct: Decimal, rounding: Rounding) -> Decimal:
        points = moisture_pct - self.base_moisture_pct
        if points <= 0:
            return rounding.of(ZERO)
        begun = sum((band.per_step_usd_bu * band.steps_begun(moisture_pct) for band in self.bands), ZERO)
        return rounding.of(max(self.per_point_usd_bu * points + begun, self.minimum_usd_bu))


@dataclass(frozen=True)
class Roundings:
    """Of bushels, of the shrink in percent, of rates a bushel and of amounts."""

    bu: Rounding
    shrink_pct: Rounding
    usd_bu: Rounding
    usd: Rounding


@dataclass(frozen=True)
class Rules:
    """What a schedule says about moisture, checked: only `rules_of` makes one from what somebody wrote."""

    base_moisture_pct: Decimal
    moisture_rounding: Rounding | None
    shrink: Shrink | None
    discount: tuple[Band, ...]
    drying_charge: DryingCharge | None
    reject_above_pct: Decimal | None
    rounding: Roundings

    @property
    def needs_price(self) -> bool:
        """Whether a discount is a part of the price, so that it cannot be told without one."""
        return any(band.per_step_pct_of_price for band in self.discount)

    def moisture_used_pct(self, moisture_pct: Decimal) -> Decimal:
        return self.moisture_rounding.of(moisture_pct) if self.moisture_rounding else moisture_pct

    def rejects(self, moisture_used_pct: Decimal) -> bool:
        return self.reject_above_pct is not None and moisture_used_pct > self.reject_above_pct

    def shrink_pct(self, moisture_used_pct: Decimal) -> Decimal:
        rounding = self.rounding.shrink_pct
        return self.shrink.pct(moisture_used_pct, rounding) if self.shrink else rounding.of(ZERO)

    def discount_parts(self, moisture_used_pct: Decimal) -> tuple[Decimal, Decimal]:
        """Dollars a bushel and percent of the price, neither rounded."""
        begun = [(band, band.steps_begun(moisture_used_pct)) for band in self.discount]
        usd_bu = sum((band.per_step_usd_bu * steps for band, steps in begun), ZERO)
        return usd_bu, sum((band.per_step_pct_of_price * steps for band, steps in begun), ZERO)

    def drying_usd_bu(self, moisture_used_pct: Decimal) -> Decimal:
        rounding = self.rounding.usd_bu
        return self.drying_charge.usd_bu(moisture_used_pct, rounding) if self.drying_charge else rounding.of(ZERO)
