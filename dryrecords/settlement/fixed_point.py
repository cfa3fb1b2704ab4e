"""The arithmetic of rules.py for many loads at once, exact, in 64-bit integers; no float anywhere.

Every quantity is an integer in the smallest unit that bounds.py allows it: pounds in hundredths, pounds a bushel and
moisture in thousandths, bushels in ten thousandths, shrink and rates a bushel in millionths, amounts in cents. Whatever
depends on the moisture alone is worked out once for each moisture there is and looked up (moistures.py). A column of
the database comes in as `(gross_lb * 100)::bigint`, which is exact for what the bounds allow.

No intermediate value reaches 2**63 = 9.2e18, because each factor has a bound that is checked. In the units above:

  wet bushels    net_lb <= 1e9: 2 x net_lb x 1e5 + bushel_lb x step <= 2e14 + 2e5 x 1e4; wet_bu <= 1e10
  shrink         2 x wet_bu x shrink_pct + 1e8 x step <= 2 x 1e10 x 2e8 + 1e12 = 4e18; a credit is at most 200 %,
                 so that net_bu <= 3e10
  by moisture    factor 2 x (5e4 x 1.1e5 + 1e8) < 2e10; dry matter 2 x (1e8 x 1.1e5 + 1e7 x 1e5) < 3e13;
                 steps of discounts at most 1e9 ($1,000) and 1e8 (10,000 %), of charges likewise, times 1e3
  discount a bu  2 x (1e9 x 1e6 + price x 1e8) + 1e12 <= 2 x (1e15 + 1e9 x 1e8) + 1e12 < 3e17; rate <= 1.1e11
  amounts        net_bu x rate <= 3e10 x 1.1e11 does not fit: round_product divides in two limbs of 20 bits, then
                 2 x (divisor x 2**20 + 2**20 x rate) <= 2 x 2**20 x (1e10 + 1.1e11) < 3e17
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryrecords.core.errors import FieldError
from dryrecords.settlement import bounds
from dryrecords.settlement.bounds import Bound
from dryrecords.settlement.moistures import ByMoisture, by_moisture
from dryrecords.settlement.rules import LoadInvalid
from dryrecords.settlement.terms import Rules
from dryrecords.settlement.whole import Integers, round_product, round_quotient, round_signed

# So many loads are in hand at once: what is worked out for them stays in the processor's cache.
_AT_ONCE = 16_384

# What comes out, and by what it is divided to be bushels, percent or dollars.
SCALES = {
    "wet_bu": bounds.BU.scale,
    "moisture_used_pct": bounds.MOISTURE_PCT.scale,
    "shrink_pct": bounds.SHRINK_PCT.scale,
    "shrink_bu": bounds.BU.scale,
    "net_bu": bounds.BU.scale,
    "moisture_discount_usd_bu": bounds.USD_BU.scale,
    "moisture_discount_usd": bounds.USD.scale,
    "drying_charge_usd_bu": bounds.USD_BU.scale,
    "drying_charge_usd": bounds.USD.scale,
    "gross_usd": bounds.USD.scale,
    "net_amount_usd": bounds.USD.scale,
}
# What goes in, and by what pounds, percent and dollars are multiplied before.
INPUT_SCALES = {
    "gross": bounds.WEIGHT_LB.scale,
    "tare": bounds.WEIGHT_LB.scale,
    "moisture": bounds.MOISTURE_PCT.scale,
    "price": bounds.PRICE_USD_BU.scale,
    "bushel": bounds.BUSHEL_LB.scale,
}


@dataclass(frozen=True)
class Many:
    """Settlements of many loads: one array a quantity, named as in rules.Settlement, in units of 1 / SCALES[name]."""

    wet_bu: Integers
    moisture_used_pct: Integers
    shrink_pct: Integers
    shrink_bu: Integers
    net_bu: Integers
    moisture_discount_usd_bu: Integers
    moisture_discount_usd: Integers
    drying_charge_usd_bu: Integers
    drying_charge_usd: Integers
    gross_usd: Integers
    net_amount_usd: Integers
    rejected: NDArray[np.bool_]

    def decimal(self, name: str, index: int) -> Decimal:
        """One quantity of one load as a decimal."""
        return Decimal(int(getattr(self, name)[index])) / SCALES[name]


def settle_many(
    rules: Rules,
    *,
    gross: ArrayLike,
    tare: ArrayLike,
    moisture: ArrayLike,
    price: ArrayLike | None,
    bushel: ArrayLike,
) -> Many:
    """What settle() says of each load, in integers.

    Parameters
    ----------
    gross, tare : integers, shapes that broadcast to (n,). [1/100 lb], 0 to 1e9, tare not above gross
    moisture : likewise. [1/1000 % wet basis], 0 to 99,999
    price : likewise, or None where nothing is sold. [1e-6 USD a bushel], 0 to 1e9
    bushel : likewise. [1/1000 lb a bushel], 10,000 to 200,000

    Returns
    -------
    Many, arrays of shape (n,)

    Raises      LoadInvalid, naming the first load that is out of bounds; TypeError for floats, ValueError for tables
    Checked by  tests/settlement/test_fixed_point.py: equal to settle() and to a reference that knows neither
    """
    if price is None and rules.needs_price:
        _refuse("/price_usd_bu", "required", "A discount of these rules is a part of the price.")
    given = (
        _within("gross_lb", gross, bounds.WEIGHT_LB),
        _within("tare_lb", tare, bounds.WEIGHT_LB),
        _within("moisture_pct", moisture, bounds.MOISTURE_PCT),
        _within("price_usd_bu", 0 if price is None else price, bounds.PRICE_USD_BU),
        _within("bushel_lb", bushel, bounds.BUSHEL_LB),
    )
    loads = np.broadcast_arrays(*given, np.empty(1))[:-1]
    if loads[0].ndim != 1:
        raise ValueError(f"Loads come in a row, not in the shape {loads[0].shape}.")
    count = loads[0].size
    if (above := loads[1] > loads[0]).any():
        _refuse(f"/tare_lb/{above.argmax()}", "above_gross", "The empty truck cannot weigh more than the full one.")
    settled = {name: np.empty(count, np.int64) for name in SCALES}
    rejected = np.empty(count, np.bool_)
    if count:
        known = by_moisture(rules, int(loads[2].min()), int(loads[2].max()))
        for begin in range(0, count, _AT_ONCE):
            at = slice(begin, begin + _AT_ONCE)
            some, rejected[at] = _settle(rules, known, *(_one_if_equal(each[at]) for each in loads))
            for name, values in some.items():
                settled[name][at] = values
    return Many(**settled, rejected=rejected)


def _settle(
    rules: Rules,
    known: ByMoisture,
    gross: Integers,
    tare: Integers,
    moisture: Integers,
    price: Integers,
    bushel: Integers,
) -> tuple[dict[str, Integers], NDArray[np.bool_]]:
    """In the order of rules.py; and which are rejected."""
    to = rules.rounding
    bu, usd_bu, usd = (
        b.fixed(r.step) for b, r in ((bounds.BU, to.bu), (bounds.USD_BU, to.usd_bu), (bounds.USD, to.usd))
    )
    # Pounds in hundredths over pounds in thousandths, in ten thousandths of a bushel.
    wet_bu = round_quotient((gross - tare) * 100_000, bushel * bu, to.bu.mode) * bu
    place = known.places(moisture)
    rejected = known.rejected[place]
    shrink_pct = known.shrink_pct[place]
    shrink_bu = round_signed(wet_bu * shrink_pct, 100 * bounds.SHRINK_PCT.scale * bu, to.bu.mode) * bu
    net_bu = (wet_bu - shrink_bu) * ~rejected

    # Dollars in 1e-6 and the price in 1e-6 times percent in 1e-4, over 100: in 1e-12 dollars.
    discount = known.discount_usd_bu[place] * 1_000_000 + price * known.discount_pct[place]
    discount_usd_bu = round_quotient(discount, 1_000_000 * usd_bu, to.usd_bu.mode) * usd_bu
    drying_usd_bu = known.drying_usd_bu[place]
    on_net = rules.drying_charge is not None and rules.drying_charge.on == "net_bu"

    # Bushels in 1e-4 times rates in 1e-6 are in 1e-10 dollars, 1e8 of which are a cent.
    cents = 100_000_000 * usd
    discount_usd = round_product(net_bu, discount_usd_bu, cents, to.usd.mode) * usd
    drying_usd = round_product(net_bu if on_net else wet_bu, drying_usd_bu, cents, to.usd.mode) * usd
    gross_usd = round_product(net_bu, price, cents, to.usd.mode) * usd
    settled = {
        "wet_bu": wet_bu,
        "moisture_used_pct": known.used[place],
        "shrink_pct": shrink_pct,
        "shrink_bu": shrink_bu,
        "net_bu": net_bu,
        "moisture_discount_usd_bu": discount_usd_bu,
        "moisture_discount_usd": discount_usd,
        "drying_charge_usd_bu": drying_usd_bu,
        "drying_charge_usd": drying_usd,
        "gross_usd": gross_usd,
        "net_amount_usd": gross_usd - discount_usd - drying_usd,
    }
    return settled, rejected


def _within(name: str, values: ArrayLike, bound: Bound) -> Integers:
    """The values as integers of 64 bits, each of them checked."""
    given = np.asarray(values)
    if given.dtype.kind not in "iu":
        raise TypeError(f"{name} has to be integers in units of 1/{bound.scale}, not {given.dtype}.")
    lowest, highest = bound.fixed(bound.lowest), bound.fixed(bound.highest)
    if given.size and not (lowest <= given.min() and given.max() <= highest):
        first = np.argmax((given < lowest) | (given > highest))
        _refuse(f"/{name}/{first}", "out_of_range", f"Must lie between {bound.lowest} and {bound.highest}.")
    return given.astype(np.int64, copy=False)


def _one_if_equal(values: Integers) -> Integers:
    """A single integer for a row of equal ones: it divides faster."""
    return values[:1] if (values[0] == values).all() else values


def _refuse(pointer: str, code: str, detail: str) -> None:
    raise LoadInvalid(errors=[FieldError(pointer, code, detail)])
