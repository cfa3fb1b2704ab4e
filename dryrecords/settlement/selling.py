"""What selling at each moisture loses by a buyer's schedule: the discount that advice for a dryer weighs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryrecords.core import clock
from dryrecords.core.decimals import from_float
from dryrecords.core.errors import invalid
from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.target import over_drying_loss
from dryrecords.season.advice import Advice, advise
from dryrecords.season.calibration_views import CalibrationView
from dryrecords.settlement import bounds
from dryrecords.settlement.fixed_point import settle_many
from dryrecords.settlement.models import Schedule
from dryrecords.settlement.rules import Rules, rules_of
from dryrecords.settlement.selectors import bushel_lb, schedules_in_force
from dryrecords.tenancy.access import Access

# So large that cents of its settlement are millionths of a dollar a bushel.
_LOAD_LB = 500_000
SEVERAL = "Schedules of several buyers are in force for this crop: say buyer to go by one of them."


@dataclass(frozen=True)
class Terms:
    """By which schedule grain would be sold, if that can be told."""

    schedule: Schedule | None = None
    base_moisture_pct: float | None = None
    discount: Callable[[FloatArray, float, float], FloatArray] | None = None
    # Where it is from, or why there is none.
    basis: str = ""


def terms_of_sale(access: Access, crop: str, buyer: str = "") -> Terms:
    """Of the buyer named, else of the only one that has a schedule in force for grain sold."""
    in_force = [
        each
        for each in schedules_in_force(access, crop, clock.now())
        if each.disposition != Schedule.Disposition.STORED and buyer in ("", each.buyer)
    ]
    if buyer and not in_force:
        raise invalid("/buyer", "no_schedule", f"No schedule of {buyer} for {crop} is in force.")
    if len(in_force) != 1:
        return Terms(basis=SEVERAL if in_force else "")
    schedule, rules = in_force[0], rules_of(in_force[0].rules)
    basis = f"Schedule {schedule.pk} ({schedule}): base {rules.base_moisture_pct} %, its shrink, discounts and charges."
    return Terms(schedule, float(rules.base_moisture_pct), _discount(schedule, rules), basis)


def advice_by(
    terms: Terms,
    view: CalibrationView,
    moisture_in_pct: float,
    base_moisture_pct: float | None,
    given: dict[str, float],
) -> Advice:
    """For the next batch of grain that is sold by these terms; a base that is given goes before theirs."""
    return advise(
        view.dryer,
        view.crop,
        moisture_in_pct,
        terms.base_moisture_pct if base_moisture_pct is None else base_moisture_pct,
        calibration=view.calibration,
        given=given,
        discount=terms.discount,
        discount_basis=terms.basis,
        discount_in_usd=terms.discount is not None,
    )


def _discount(schedule: Schedule, rules: Rules) -> Callable[[FloatArray, float, float], FloatArray]:
    bushel = bushel_lb(schedule.crop)

    def discount(moisture_pct: FloatArray, base_moisture_pct: float, price: float) -> FloatArray:
        """Lost for each bushel at the base, beside what over-drying loses. [money], shape of the moistures

        Water above the base is weight that is not lost but never was grain: a schedule that takes off exactly it
        costs nothing.

        Equation    price - (100 - base) / (100 - M) x net amount of a wet bushel - over-drying loss
        """
        scale = bounds.MOISTURE_PCT.scale
        places = np.clip(np.rint(moisture_pct * scale), 0, 60 * scale).astype(np.int64)
        first = int(places.min())
        measured = np.arange(first, int(places.max()) + 1)
        settled = settle_many(
            rules,
            gross=_LOAD_LB * bounds.WEIGHT_LB.scale,
            tare=0,
            moisture=measured,
            price=bounds.PRICE_USD_BU.fixed(from_float(price, bounds.PRICE_USD_BU.smallest)),
            bushel=bounds.BUSHEL_LB.fixed(bushel),
        )
        wet_bu = settled.wet_bu / bounds.BU.scale
        moisture = measured / scale
        paid = settled.net_amount_usd / bounds.USD.scale / wet_bu
        at_base = (100.0 - base_moisture_pct) / (100.0 - moisture) * paid
        lost = price - at_base - over_drying_loss(moisture, base_moisture_pct, price)
        return np.asarray(lost[places - first])

    return discount
