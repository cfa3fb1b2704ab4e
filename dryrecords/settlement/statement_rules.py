"""What a load is charged and what goes back of it, by a drying company's rates: exact decimals, no clock, no database.

The order of operations. Every figure is rounded half up, once, where it is printed, and what follows rests on the
printed figure, so that a statement can be worked out again from its own paper.

 1. moistures            to moisture_rounding_pct
 2. points_removed       moisture in - moisture out, not below zero
    points_to_base       moisture in - the greater of moisture out and the base, not below zero
    points               the one of the two that the rate counts
 3. wet_bu, dry_bu       to bushel_rounding_bu; charged_bu is the one that the rate charges on
 4. usd_bu               points x rate, or every started step of its bands; not rounded
 5. drying_usd           to the cent: charged_bu x usd_bu; never less than the minimum, of the batch or
                         to the cent of charged_bu x the minimum of a bushel
 6. surcharge_usd        to the cent: started steps of the price of gas above its base x rate x points x charged_bu
 7. back_bu              to bushel_rounding_bu: what came out; or market bushels by actual shrink; or by factor
                         wet_bu x (100 - factor x points above the base - handling) / 100
 8. in_usd, out_usd      to the cent: wet_bu and back_bu x their rates
 9. total_usd            sum of the printed amounts; totals of a statement are sums of printed lines
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from decimal import ROUND_CEILING, Decimal

from dryrecords.core.decimals import CENT
from dryrecords.settlement.terms import HUNDRED, ONE, ZERO, Band, Rounding


def to_step(value: Decimal, step: Decimal) -> Decimal:
    """Half up, away from zero, to a multiple of the step."""
    return Rounding(step).of(value)


def steps_begun(value: Decimal, step: Decimal) -> Decimal:
    """How many steps have begun: none at zero or below."""
    return max(ZERO, (value / step).to_integral_value(rounding=ROUND_CEILING))


def gaps(bands: Sequence[Band]) -> Iterator[tuple[int, str]]:
    """Places where bands of points do not follow on each other, and what is wrong there."""
    end: Decimal | None = ZERO
    for place, band in enumerate(bands):
        if end is None:
            yield place, "The band before has no end, so none can follow it."
        elif band.above_pct != end:
            yield place, f"Must begin where the band before ends, at {end} points."
        if band.up_to_pct is not None and band.up_to_pct <= band.above_pct:
            yield place, "Must end above its beginning."
        end = band.up_to_pct
    if bands and end is not None:
        yield len(bands) - 1, "The last one must have no end: there may be wetter grain."


@dataclass(frozen=True)
class Surcharge:
    above_usd: Decimal
    step_usd: Decimal
    per_step_usd_bu: Decimal

    def usd_point_bu(self, gas_usd: Decimal) -> Decimal:
        return steps_begun(gas_usd - self.above_usd, self.step_usd) * self.per_step_usd_bu


@dataclass(frozen=True)
class FactorShrink:
    pct_per_point: Decimal
    handling_pct: Decimal


@dataclass(frozen=True)
class Terms:
    """A rate, as far as it decides amounts. Exactly one of per_point_usd_bu and bands."""

    per_point_usd_bu: Decimal | None
    # As those of a schedule, but counted from the points removed instead of the moisture.
    bands: tuple[Band, ...]
    on_dry_bu: bool
    points_to_base: bool
    moisture_rounding_pct: Decimal
    bushel_rounding_bu: Decimal
    minimum_usd: Decimal
    minimum_per_bu: bool
    surcharge: Surcharge | None
    in_usd_bu: Decimal
    out_usd_bu: Decimal
    # Commingled grain goes back as market bushels: by the batch's own moistures, or by a factor. Else as it came out.
    commingled: bool
    factor: FactorShrink | None

    def usd_bu(self, points: Decimal) -> Decimal:
        if self.per_point_usd_bu is not None:
            return self.per_point_usd_bu * points
        return sum((band.per_step_usd_bu * band.steps_begun(points) for band in self.bands), ZERO)


@dataclass(frozen=True)
class Load:
    """One load as it was measured, not yet rounded. `gas_usd`: price of the fuel of the surcharge, if there is one."""

    moisture_in_pct: Decimal
    moisture_out_pct: Decimal
    base_moisture_pct: Decimal
    wet_bu: Decimal
    dry_bu: Decimal
    market_bu: Decimal
    gas_usd: Decimal | None = None


@dataclass(frozen=True)
class Line:
    """A load as it is printed."""

    moisture_in_pct: Decimal
    moisture_out_pct: Decimal
    points_removed: Decimal
    points: Decimal
    points_below_base: Decimal
    wet_bu: Decimal
    dry_bu: Decimal
    market_bu: Decimal
    back_bu: Decimal
    charged_bu: Decimal
    usd_bu: Decimal
    drying_usd: Decimal
    surcharge_usd: Decimal
    in_usd: Decimal
    out_usd: Decimal
    total_usd: Decimal
    # How much of drying and surcharge is for points below the base.
    below_base_usd: Decimal


def line(load: Load, terms: Terms) -> Line:
    """A load charged by the order of operations above."""
    moisture_in = to_step(load.moisture_in_pct, terms.moisture_rounding_pct)
    moisture_out = to_step(load.moisture_out_pct, terms.moisture_rounding_pct)
    removed = max(ZERO, moisture_in - moisture_out)
    to_base = max(ZERO, moisture_in - max(moisture_out, load.base_moisture_pct))
    points = to_base if terms.points_to_base else removed
    wet_bu, dry_bu, market_bu = (
        to_step(bushels, terms.bushel_rounding_bu) for bushels in (load.wet_bu, load.dry_bu, load.market_bu)
    )
    charged_bu = dry_bu if terms.on_dry_bu else wet_bu
    drying, surcharge = _for_points(points, charged_bu, load.gas_usd, terms)
    back_bu = _back_bu(moisture_in, load.base_moisture_pct, wet_bu, dry_bu, market_bu, terms)
    in_usd, out_usd = to_step(wet_bu * terms.in_usd_bu, CENT), to_step(back_bu * terms.out_usd_bu, CENT)
    return Line(
        moisture_in_pct=moisture_in,
        moisture_out_pct=moisture_out,
        points_removed=removed,
        points=points,
        points_below_base=removed - to_base,
        wet_bu=wet_bu,
        dry_bu=dry_bu,
        market_bu=market_bu,
        back_bu=back_bu,
        charged_bu=charged_bu,
        usd_bu=terms.usd_bu(points),
        drying_usd=drying,
        surcharge_usd=surcharge,
        in_usd=in_usd,
        out_usd=out_usd,
        total_usd=drying + surcharge + in_usd + out_usd,
        below_base_usd=drying + surcharge - sum(_for_points(min(points, to_base), charged_bu, load.gas_usd, terms)),
    )


def _for_points(points: Decimal, bushels: Decimal, gas_usd: Decimal | None, terms: Terms) -> tuple[Decimal, Decimal]:
    """Drying and surcharge."""
    least = to_step(terms.minimum_usd * (bushels if terms.minimum_per_bu else ONE), CENT)
    drying = max(least, to_step(terms.usd_bu(points) * bushels, CENT))
    by_gas = terms.surcharge.usd_point_bu(gas_usd) if terms.surcharge and gas_usd is not None else ZERO
    return drying, to_step(by_gas * points * bushels, CENT)


def _back_bu(
    moisture_in: Decimal, base: Decimal, wet_bu: Decimal, dry_bu: Decimal, market_bu: Decimal, terms: Terms
) -> Decimal:
    if not terms.commingled:
        return dry_bu
    if terms.factor is None:
        return market_bu
    shrink_pct = terms.factor.pct_per_point * max(ZERO, moisture_in - base) + terms.factor.handling_pct
    return to_step(wet_bu * max(ZERO, HUNDRED - shrink_pct) / HUNDRED, terms.bushel_rounding_bu)


@dataclass(frozen=True)
class Totals:
    """Sums of printed lines."""

    wet_bu: Decimal
    dry_bu: Decimal
    market_bu: Decimal
    back_bu: Decimal
    drying_usd: Decimal
    surcharge_usd: Decimal
    in_usd: Decimal
    out_usd: Decimal
    total_usd: Decimal
    below_base_usd: Decimal


def totals(lines: Iterable[Line]) -> Totals:
    printed = list(lines)
    return Totals(**{each.name: sum((getattr(one, each.name) for one in printed), ZERO) for each in fields(Totals)})
