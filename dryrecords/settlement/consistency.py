"""Whether the rules of a schedule fit together: bands without gap or overlap, bases below the rejection limit."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise

from dryrecords.core.errors import FieldError
from dryrecords.settlement import bounds
from dryrecords.settlement.terms import ZERO, Band, Rules


def contradictions(rules: Rules) -> Iterator[FieldError]:
    """Everything about rules that were read that cannot be meant."""
    reject, charge = rules.reject_above_pct, rules.drying_charge
    highest_base = max([rules.base_moisture_pct] + [each.base_moisture_pct for each in (rules.shrink, charge) if each])
    if reject is not None and reject <= highest_base:
        yield FieldError("/reject_above_pct", "not_above_base", "Loads are rejected above the bases, not at or below.")
    yield from _bands("/discount", rules.discount, rules.base_moisture_pct, reject)
    if charge:
        yield from _bands("/drying_charge/bands", charge.bands, charge.base_moisture_pct, reject)


def _bands(pointer: str, bands: tuple[Band, ...], base: Decimal, reject: Decimal | None) -> Iterator[FieldError]:
    for number, band in enumerate(bands):
        yield from _band(f"{pointer}/{number}", band, reject)
    for number, (before, band) in enumerate(pairwise(bands), start=1):
        yield from _joint(f"{pointer}/{number}/above_pct", before.up_to_pct, band.above_pct)
    if bands and bands[0].above_pct < base:
        detail = f"Bands begin at the base, {base} %, or above it."
        yield FieldError(f"{pointer}/0/above_pct", "below_base", detail)
    end = bands[-1].up_to_pct if bands else None
    if end is not None and (reject is None or end < reject):
        detail = "Nothing is said above the last band: leave it open, or end it at the rejection limit."
        yield FieldError(f"{pointer}/{len(bands) - 1}/up_to_pct", "gap", detail)
    top = bounds.MOISTURE_PCT.highest if reject is None else reject
    for name, highest in (
        ("per_step_usd_bu", bounds.TOTAL_USD_BU),
        ("per_step_pct_of_price", bounds.TOTAL_PCT_OF_PRICE),
    ):
        total = sum((getattr(band, name) * band.steps_begun(top) for band in bands), ZERO)
        if total > highest:
            yield FieldError(pointer, "too_steep", f"At {top} % this comes to {total}; {highest} is the most.")


def _band(pointer: str, band: Band, reject: Decimal | None) -> Iterator[FieldError]:
    end = band.up_to_pct
    if end is not None and end <= band.above_pct:
        yield FieldError(f"{pointer}/up_to_pct", "not_above", "A band ends above where it begins.")
    elif end is not None and (end - band.above_pct) % band.step_pct:
        detail = f"The band is {end - band.above_pct} points wide, which is no whole number of these steps."
        yield FieldError(f"{pointer}/step_pct", "not_divided", detail)
    if reject is not None and band.above_pct >= reject:
        detail = f"Loads above {reject} % are rejected, so this band never counts."
        yield FieldError(f"{pointer}/above_pct", "never_reached", detail)


def _joint(pointer: str, end: Decimal | None, begin: Decimal) -> Iterator[FieldError]:
    if end is None:
        yield FieldError(pointer, "overlap", "The band before is open: it has no end where this one could begin.")
    elif begin != end:
        code = "gap" if begin > end else "overlap"
        yield FieldError(pointer, code, f"The band before ends at {end} %: this one has to begin there.")
