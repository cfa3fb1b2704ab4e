"""What a load is charged, worked out a second time: in fractions, by nothing of ours. Figures are not negative."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import ceil, floor
from typing import Any

CENT = Fraction(1, 100)


def half_up(x: Fraction, step: Fraction) -> Fraction:
    return floor(x / step + Fraction(1, 2)) * step


def exact(value: Any) -> Fraction:
    return Fraction(str(value)) if value is not None else Fraction(0)


def shown(value: float) -> Fraction:
    """As the API shows a derived figure: with ten significant digits."""
    return Fraction(format(value, ".10g"))


def charges(result: Mapping[str, float], rate: Mapping[str, Any], gas: Any = None) -> dict[str, Fraction]:
    """By the fields of a rate as the API takes them, and the figures of a result as the API shows them."""
    tenth, hundredth = exact(rate.get("moisture_rounding_pct", "0.1")), exact(rate.get("bushel_rounding_bu", "0.01"))
    wet_moisture = half_up(shown(result["moisture_in_pct"]), tenth)
    dry_moisture = half_up(shown(result["moisture_out_pct"]), tenth)
    own_base = rate.get("base_moisture_pct")
    base = exact(own_base) if own_base is not None else shown(result["base_moisture_pct"])
    wet, dry, market = (half_up(shown(result[name]), hundredth) for name in ("wet_bu", "dry_bu", "market_bu"))
    all_points = wet_moisture - dry_moisture if wet_moisture > dry_moisture else Fraction(0)
    down_to = dry_moisture if dry_moisture > base else base
    good_points = wet_moisture - down_to if wet_moisture > down_to else Fraction(0)
    points = good_points if rate.get("points_counted") == "to_base" else all_points
    bushels = wet if rate["drying_on"] == "wet_bu" else dry

    if rate.get("shrink") == "factor":
        above = wet_moisture - base if wet_moisture > base else Fraction(0)
        lost = exact(rate["shrink_factor_pct_per_point"]) * above + exact(rate.get("shrink_handling_pct"))
        back = half_up(wet * (1 - lost / 100), hundredth) if lost < 100 else Fraction(0)
    else:
        back = market if rate.get("shrink") == "actual" else dry

    drying, surcharge = _drying(points, bushels, rate), _surcharge(points, bushels, rate, gas)
    few = good_points if good_points < points else points
    without = _drying(few, bushels, rate) + _surcharge(few, bushels, rate, gas)
    in_charge, out_charge = (
        half_up(much * exact(rate.get(name)), CENT) for much, name in ((wet, "in_usd_bu"), (back, "out_usd_bu"))
    )
    return {
        "moisture_in_pct": wet_moisture,
        "moisture_out_pct": dry_moisture,
        "points": points,
        "wet_bu": wet,
        "dry_bu": dry,
        "back_bu": back,
        "drying_usd": drying,
        "surcharge_usd": surcharge,
        "in_usd": in_charge,
        "out_usd": out_charge,
        "total_usd": drying + surcharge + in_charge + out_charge,
        "below_base_usd": drying + surcharge - without,
    }


def _drying(points: Fraction, bushels: Fraction, rate: Mapping[str, Any]) -> Fraction:
    if rate.get("drying_per_point_usd_bu") is not None:
        a_bushel = exact(rate["drying_per_point_usd_bu"]) * points
    else:
        a_bushel = Fraction(0)
        for band in rate["bands"]:
            start, step = exact(band["above_points"]), exact(band["step_points"])
            stop = points if band["up_to_points"] is None else min(points, exact(band["up_to_points"]))
            if stop > start:
                a_bushel += ceil((stop - start) / step) * exact(band["per_step_usd_bu"])
    charge = half_up(a_bushel * bushels, CENT)
    least = exact(rate.get("minimum_usd"))
    if rate.get("minimum_per") == "bu":
        least *= bushels
    return max(charge, half_up(least, CENT))


def _surcharge(points: Fraction, bushels: Fraction, rate: Mapping[str, Any], gas: Any) -> Fraction:
    if not rate.get("surcharge_fuel") or gas is None:
        return Fraction(0)
    over = exact(gas) - exact(rate["surcharge_above_usd"])
    steps = ceil(over / exact(rate["surcharge_step_usd"])) if over > 0 else 0
    return half_up(steps * exact(rate["surcharge_per_step_usd_bu"]) * points * bushels, CENT)
