"""The JSON `rules` of a schedule: read, checked and written again. The numbers in it are exact decimals.

{"base_moisture_pct": "15",
 "moisture_rounding": {"step_pct": "0.1", "mode": "half_up"},          or null: the moisture as it was measured
 "shrink": {"method": "factor", "factor_pct_per_point": "1.4", "base_moisture_pct": "14", "handling_pct": "0.25",
            "below_base": "none"},                                     or {"method": "dry_matter", ...}; or null
 "discount": [{"above_pct": "15", "up_to_pct": "18", "step_pct": "0.5", "per_step_usd_bu": "0.02"},
              {"above_pct": "18", "step_pct": "0.1", "per_step_pct_of_price": "0.3"}],
 "drying_charge": {"per_point_usd_bu": "0.048", "base_moisture_pct": "15", "on": "wet_bu", "minimum_usd_bu": "0.05"},
                                                                       or "bands": [...], in dollars; or null
 "reject_above_pct": "30",                                             or null
 "rounding": {"bu": "0.01", "shrink_pct": "0.000001", "usd_bu": "0.0001", "usd": {"step": "0.01", "mode": "half_even"}}}

Only the base has to be there. `shrink` and `drying_charge` take it for their own where they name none; the roundings
shown are those taken where none is named. Bands follow one another without gap or overlap, begin at the base or above
it, and end at the rejection limit or are open; a step divides its band. Numbers come as decimal text or whole numbers;
a JSON number with a fraction is taken for the shortest text that reads back as it.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from dryrecords.core.errors import FieldError, Invalid
from dryrecords.settlement import bounds
from dryrecords.settlement.bounds import Bound
from dryrecords.settlement.consistency import contradictions
from dryrecords.settlement.reading import Part
from dryrecords.settlement.terms import (
    BELOW_BASE,
    CHARGED_ON,
    METHODS,
    MODES,
    ZERO,
    Band,
    DryingCharge,
    Rounding,
    Roundings,
    Rules,
    Shrink,
)

_ROUNDINGS = {
    "bu": (bounds.BU, "0.01"),
    "shrink_pct": (bounds.SHRINK_PCT, "0.000001"),
    "usd_bu": (bounds.USD_BU, "0.0001"),
    "usd": (bounds.USD, "0.01"),
}


class RulesInvalid(Invalid):
    """The rules of a schedule contradict themselves; pointers are those within the rules."""

    code = "rules_invalid"
    title = "The rules of this schedule cannot be settled with."


def rules_of(document: Mapping[str, Any]) -> Rules:
    """The rules in a document, or RulesInvalid with everything that is wrong with it."""
    problems: list[FieldError] = []
    if not isinstance(document, Mapping):
        raise RulesInvalid(errors=[FieldError("", "not_an_object", "Rules are an object.")])
    rules = _rules(Part(document, "", problems))
    # What could not be read would contradict everything else as well.
    problems = problems or list(contradictions(rules))
    if problems:
        raise RulesInvalid(errors=problems)
    return rules


def _rules(part: Part) -> Rules:
    base = part.needed("base_moisture_pct", bounds.BASE_PCT)
    rules = Rules(
        base_moisture_pct=base,
        moisture_rounding=_moisture_rounding(part.part("moisture_rounding")),
        shrink=_shrink(part.part("shrink"), base),
        discount=tuple(_band(each, of_price=True) for each in part.parts("discount")),
        drying_charge=_drying_charge(part.part("drying_charge"), base),
        reject_above_pct=part.number("reject_above_pct", bounds.MOISTURE_PCT),
        rounding=_roundings(part.part("rounding") or Part({}, "/rounding", part.problems)),
    )
    part.no_more()
    return rules


def _moisture_rounding(part: Part | None) -> Rounding | None:
    if part is None:
        return None
    rounding = Rounding(part.needed("step_pct", bounds.STEP_PCT), part.choice("mode", MODES, "half_up"))
    part.no_more()
    return rounding


def _roundings(part: Part) -> Roundings:
    read = {name: _rounding(part, name, bound, Decimal(step)) for name, (bound, step) in _ROUNDINGS.items()}
    part.no_more()
    return Roundings(**read)


def _rounding(part: Part, name: str, bound: Bound, otherwise: Decimal) -> Rounding:
    """Written as the increment alone, or with the mode beside it."""
    if not isinstance(part.value(name), Mapping):
        return Rounding(part.number(name, bound) or otherwise)
    inner = Part(part.value(name), f"{part.pointer}/{name}", part.problems)
    rounding = Rounding(inner.needed("step", bound), inner.choice("mode", MODES, "half_up"))
    inner.no_more()
    return rounding


def _shrink(part: Part | None, base: Decimal) -> Shrink | None:
    if part is None:
        return None
    own = part.number("base_moisture_pct", bounds.BASE_PCT)
    method = part.choice("method", METHODS)
    factor = part.number("factor_pct_per_point", bounds.FACTOR_PCT)
    if (factor is None) == (method == "factor"):
        part.refuse("factor_pct_per_point", "factor_or_dry_matter", "The method factor has a factor, dry_matter none.")
    shrink = Shrink(
        method=method,
        base_moisture_pct=base if own is None else own,
        factor_pct_per_point=factor or ZERO,
        handling_pct=part.number("handling_pct", bounds.HANDLING_PCT) or ZERO,
        below_base=part.choice("below_base", BELOW_BASE, "none"),
    )
    part.no_more()
    return shrink


def _drying_charge(part: Part | None, base: Decimal) -> DryingCharge | None:
    if part is None:
        return None
    own = part.number("base_moisture_pct", bounds.BASE_PCT)
    per_point = part.number("per_point_usd_bu", bounds.STEP_USD_BU)
    bands = tuple(_band(each, of_price=False) for each in part.parts("bands"))
    if (per_point is None) != bool(bands):
        part.refuse("", "point_or_bands", "A drying charge is either so much a point or bands.")
    charge = DryingCharge(
        base_moisture_pct=base if own is None else own,
        on=part.choice("on", CHARGED_ON),
        per_point_usd_bu=per_point or ZERO,
        bands=bands,
        minimum_usd_bu=part.number("minimum_usd_bu", bounds.MINIMUM_USD_BU) or ZERO,
    )
    part.no_more()
    return charge


def _band(part: Part, of_price: bool) -> Band:
    above = part.needed("above_pct", bounds.MOISTURE_PCT)
    up_to = part.number("up_to_pct", bounds.MOISTURE_PCT)
    step = part.needed("step_pct", bounds.STEP_PCT)
    usd = part.number("per_step_usd_bu", bounds.STEP_USD_BU)
    share = part.number("per_step_pct_of_price", bounds.STEP_PCT_OF_PRICE) if of_price else None
    if (usd is None) == (share is None):
        what = "either dollars or percent of the price" if of_price else "dollars"
        part.refuse("", "amount_a_step", f"A step of this band has {what}.")
    part.no_more()
    return Band(above, up_to, step, usd or ZERO, share or ZERO)


def canonical(rules: Rules) -> dict[str, Any]:
    """The document to store: everything said, decimals as text; `rules_of` makes the same rules of it."""
    shrink, charge, moisture = rules.shrink, rules.drying_charge, rules.moisture_rounding
    return {
        "base_moisture_pct": _text(rules.base_moisture_pct),
        "moisture_rounding": moisture and {"step_pct": _text(moisture.step), "mode": moisture.mode},
        "shrink": shrink and _shrink_document(shrink),
        "discount": [_band_document(band) for band in rules.discount],
        "drying_charge": charge and _charge_document(charge),
        "reject_above_pct": None if rules.reject_above_pct is None else _text(rules.reject_above_pct),
        "rounding": {
            name: {"step": _text(rounding.step), "mode": rounding.mode}
            for name in _ROUNDINGS
            for rounding in [getattr(rules.rounding, name)]
        },
    }


def _shrink_document(shrink: Shrink) -> dict[str, Any]:
    document = {
        "method": shrink.method,
        "base_moisture_pct": _text(shrink.base_moisture_pct),
        "handling_pct": _text(shrink.handling_pct),
        "below_base": shrink.below_base,
    }
    if shrink.method == "factor":
        document["factor_pct_per_point"] = _text(shrink.factor_pct_per_point)
    return document


def _charge_document(charge: DryingCharge) -> dict[str, Any]:
    document: dict[str, Any] = {
        "base_moisture_pct": _text(charge.base_moisture_pct),
        "on": charge.on,
        "minimum_usd_bu": _text(charge.minimum_usd_bu),
    }
    if charge.bands:
        return document | {"bands": [_band_document(band) for band in charge.bands]}
    return document | {"per_point_usd_bu": _text(charge.per_point_usd_bu)}


def _band_document(band: Band) -> dict[str, Any]:
    document: dict[str, Any] = {
        "above_pct": _text(band.above_pct),
        "up_to_pct": None if band.up_to_pct is None else _text(band.up_to_pct),
        "step_pct": _text(band.step_pct),
    }
    if band.per_step_pct_of_price:
        return document | {"per_step_pct_of_price": _text(band.per_step_pct_of_price)}
    return document | {"per_step_usd_bu": _text(band.per_step_usd_bu)}


def _text(value: Decimal) -> str:
    return f"{value:f}"
