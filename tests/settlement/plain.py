"""What a load is paid, said once more from the JSON of a schedule: slow, obvious, sharing nothing with the package."""

from decimal import (
    ROUND_DOWN,
    ROUND_HALF_EVEN,
    ROUND_HALF_UP,
    ROUND_UP,
    Decimal,
    localcontext,
)

MODES = {"half_up": ROUND_HALF_UP, "half_even": ROUND_HALF_EVEN, "up": ROUND_UP, "down": ROUND_DOWN}
DEFAULT_STEPS = {"bu": "0.01", "shrink_pct": "0.000001", "usd_bu": "0.0001", "usd": "0.01"}


def plain_settlement(document, load):
    """Every figure of a settlement by name; the document as it is posted, the load as decimals by name."""
    with localcontext() as context:
        # Far more digits than anything here has, so that only the roundings that are asked for round.
        context.prec = 80
        return _settlement(document, load)


def _settlement(rules, load):
    def rounded(value, name):
        said = (rules.get("rounding") or {}).get(name) or DEFAULT_STEPS[name]
        step, mode = (said["step"], said.get("mode") or "half_up") if isinstance(said, dict) else (said, "half_up")
        return _round(value, Decimal(step), mode)

    base = Decimal(rules["base_moisture_pct"])
    moisture = load["moisture_pct"]
    if rules.get("moisture_rounding"):
        how = rules["moisture_rounding"]
        moisture = _round(moisture, Decimal(how["step_pct"]), how.get("mode") or "half_up")

    figures = dict.fromkeys(
        (
            "shrink_pct",
            "shrink_bu",
            "net_bu",
            "moisture_discount_usd_bu",
            "moisture_discount_usd",
            "drying_charge_usd_bu",
            "drying_charge_usd",
            "gross_usd",
            "net_amount_usd",
        ),
        Decimal(0),
    )
    figures["moisture_used_pct"] = moisture
    figures["wet_bu"] = wet = rounded((load["gross_lb"] - load["tare_lb"]) / load["bushel_lb"], "bu")
    limit = rules.get("reject_above_pct")
    figures["rejected"] = limit is not None and moisture > Decimal(limit)
    if figures["rejected"]:
        return figures

    price = load["price_usd_bu"]
    figures["shrink_pct"] = rounded(_shrink(rules.get("shrink"), base, moisture), "shrink_pct")
    if figures["shrink_pct"] > 100:
        figures["shrink_pct"] = Decimal(100)
    figures["shrink_bu"] = rounded(wet * figures["shrink_pct"] / 100, "bu")
    figures["net_bu"] = net = wet - figures["shrink_bu"]

    discount = Decimal(0)
    for band in rules.get("discount") or []:
        if band.get("per_step_usd_bu") is not None:
            discount += _steps(band, moisture) * Decimal(band["per_step_usd_bu"])
        else:
            discount += _steps(band, moisture) * Decimal(band["per_step_pct_of_price"]) / 100 * price
    figures["moisture_discount_usd_bu"] = rounded(discount, "usd_bu")
    figures["moisture_discount_usd"] = rounded(net * figures["moisture_discount_usd_bu"], "usd")

    charge = rules.get("drying_charge")
    if charge:
        figures["drying_charge_usd_bu"] = rounded(_charge(charge, base, moisture), "usd_bu")
        dried = {"wet_bu": wet, "net_bu": net}[charge["on"]]
        figures["drying_charge_usd"] = rounded(dried * figures["drying_charge_usd_bu"], "usd")

    figures["gross_usd"] = rounded(net * price, "usd")
    figures["net_amount_usd"] = figures["gross_usd"] - figures["moisture_discount_usd"] - figures["drying_charge_usd"]
    return figures


def _round(value, step, mode):
    return (value / step).quantize(Decimal(1), rounding=MODES[mode]) * step


def _own_base(part, base):
    return base if part.get("base_moisture_pct") is None else Decimal(part["base_moisture_pct"])


def _shrink(shrink, base, moisture):
    if not shrink:
        return Decimal(0)
    base = _own_base(shrink, base)
    if moisture == base or (moisture < base and shrink.get("below_base") != "credit"):
        return Decimal(0)
    if shrink["method"] == "factor":
        pct = Decimal(shrink["factor_pct_per_point"]) * (moisture - base)
    else:
        pct = 100 * (1 - (100 - moisture) / (100 - base))
    return pct + Decimal(shrink.get("handling_pct") or 0) if moisture > base else pct


def _steps(band, moisture):
    """Counted one by one: a step is begun when the moisture is above where it starts."""
    begun, start = 0, Decimal(band["above_pct"])
    end = moisture if band.get("up_to_pct") is None else min(moisture, Decimal(band["up_to_pct"]))
    while start < end:
        begun += 1
        start += Decimal(band["step_pct"])
    return begun


def _charge(charge, base, moisture):
    base = _own_base(charge, base)
    if moisture <= base:
        return Decimal(0)
    if charge.get("bands"):
        usd_bu = sum(_steps(band, moisture) * Decimal(band["per_step_usd_bu"]) for band in charge["bands"])
    else:
        usd_bu = Decimal(charge["per_point_usd_bu"]) * (moisture - base)
    return max(usd_bu, Decimal(charge.get("minimum_usd_bu") or 0))
