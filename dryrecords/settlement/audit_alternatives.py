"""Other rules that a buyer may have settled by: each plausible one, to see whether tickets come out as stated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from dryrecords.settlement import bounds
from dryrecords.settlement.terms import METHODS, MODES, ZERO, Band, DryingCharge, Rounding, Rules, Shrink

# Bases that schedules name, and factors that are posted (Iowa Code 203.20; Iowa State University Extension A2-32).
_BASES = tuple(map(Decimal, ("13", "13.5", "14", "14.5", "15", "15.5", "16")))
_FACTORS = tuple(map(Decimal, ("1.18", "1.2", "1.25", "1.3", "1.35", "1.4", "1.5", "2", "3")))
_HANDLINGS = tuple(map(Decimal, ("0", "0.25", "0.5", "1")))
_MOISTURE_STEPS = tuple(map(Decimal, ("0.1", "0.5", "1")))
_BU_STEPS = tuple(map(Decimal, ("0.001", "0.01", "0.1", "1")))
_RATE_STEPS = tuple(map(Decimal, ("0.0001", "0.001", "0.01")))
# Legal weights of other crops that a ticket may have been divided by (University of Wisconsin Extension).
_BUSHELS_LB = tuple(map(Decimal, ("56", "60", "48", "32", "50")))
_SHRINK_STEPS = tuple(map(Decimal, ("0.01", "0.1")))
_NEAR_PCT = 2


@dataclass(frozen=True)
class Alternative:
    """One other rule. The text is the same for every schedule that it is said of."""

    text: str
    rules: Rules
    bushel_lb: Decimal


def alternatives(rules: Rules, bushel_lb: Decimal, others: Iterable[tuple[str, Rules]] = ()) -> list[Alternative]:
    """Each differs from the rules in one way. `others`: schedules not in force that may have been taken instead."""
    found: dict[str, Alternative] = {}
    for text, other in (*_one_thing_else(rules), *others):
        if other != rules and text not in found:
            found[text] = Alternative(text, other, bushel_lb)
    for weight in _BUSHELS_LB:
        if weight != bushel_lb:
            text = f"bushels of {weight} lb"
            found[text] = Alternative(text, rules, weight)
    return list(found.values())


def _one_thing_else(rules: Rules) -> Iterator[tuple[str, Rules]]:
    yield from _moistures(rules)
    if rules.shrink:
        yield "no shrink", replace(rules, shrink=None)
        for text, shrink in _shrinks(rules.shrink, rules):
            yield text, replace(rules, shrink=shrink)
    if rules.drying_charge:
        yield "no drying charge", replace(rules, drying_charge=None)
        for text, charge in _charges(rules.drying_charge, _finest(rules)):
            yield text, replace(rules, drying_charge=charge)
    yield from _steps(rules)
    yield from _roundings(rules)
    for base in _near(rules.base_moisture_pct):
        yield f"every base at {base} %", _based(rules, base)


def _moistures(rules: Rules) -> Iterator[tuple[str, Rules]]:
    for step in _MOISTURE_STEPS:
        for mode in MODES:
            yield f"moisture rounded {_way(mode)} to {step}", replace(rules, moisture_rounding=Rounding(step, mode))
    yield "moisture not rounded", replace(rules, moisture_rounding=None)


def _shrinks(shrink: Shrink, rules: Rules) -> Iterator[tuple[str, Shrink]]:
    charge = rules.drying_charge
    bases = {rules.base_moisture_pct, *_near(shrink.base_moisture_pct)} | (
        {charge.base_moisture_pct} if charge else set()
    )
    for base in sorted(bases):
        yield f"shrink to {base} %", replace(shrink, base_moisture_pct=base)
    for factor in _FACTORS:
        yield f"shrink of {factor} % a point", replace(shrink, method=METHODS[0], factor_pct_per_point=factor)
    yield "shrink by dry matter", replace(shrink, method=METHODS[1])
    for handling in _HANDLINGS:
        yield f"{handling} % handling loss", replace(shrink, handling_pct=handling)
    for below in ("credit", "none"):
        yield f"{'a' if below == 'credit' else 'no'} credit below the base", replace(shrink, below_base=below)


def _charges(charge: DryingCharge, finest: Decimal) -> Iterator[tuple[str, DryingCharge]]:
    for on in ("wet_bu", "net_bu"):
        yield f"drying charged on {on.removesuffix('_bu')} bushels", replace(charge, on=on)
    for base in _near(charge.base_moisture_pct):
        yield f"drying charged from {base} %", replace(charge, base_moisture_pct=base)
    yield "no minimum drying charge", replace(charge, minimum_usd_bu=ZERO)
    if charge.per_point_usd_bu and not charge.bands:
        whole = (Band(charge.base_moisture_pct, None, Decimal(1), charge.per_point_usd_bu),)
        yield "drying charged by whole points begun", replace(charge, per_point_usd_bu=ZERO, bands=whole)
    for text, bands in _shifted(charge.bands, finest):
        yield f"drying charge: {text}", replace(charge, bands=bands)


def _finest(rules: Rules) -> Decimal:
    return rules.moisture_rounding.step if rules.moisture_rounding else bounds.MOISTURE_PCT.smallest


def _steps(rules: Rules) -> Iterator[tuple[str, Rules]]:
    if rules.discount:
        yield "no moisture discount", replace(rules, discount=())
    for text, bands in _shifted(rules.discount, _finest(rules)):
        yield f"moisture discount: {text}", replace(rules, discount=bands)


def _shifted(bands: tuple[Band, ...], finest: Decimal) -> Iterator[tuple[str, tuple[Band, ...]]]:
    if not bands:
        return
    yield "a step begins at its limit, not above it", _moved(bands, -finest)
    steps = {band.step_pct for band in bands}
    if len(steps) == 1:
        step = steps.pop()
        yield "only whole steps count", _moved(bands, step - finest)


def _moved(bands: tuple[Band, ...], by: Decimal) -> tuple[Band, ...]:
    ends = [None if band.up_to_pct is None else band.up_to_pct + by for band in bands]
    return tuple(replace(b, above_pct=b.above_pct + by, up_to_pct=end) for b, end in zip(bands, ends, strict=True))


def _roundings(rules: Rules) -> Iterator[tuple[str, Rules]]:
    to = rules.rounding
    for mode in MODES:
        yield f"money rounded {_way(mode)}", replace(rules, rounding=replace(to, usd=replace(to.usd, mode=mode)))
        for step in _BU_STEPS:
            text = f"bushels rounded {_way(mode)} to {step}"
            yield text, replace(rules, rounding=replace(to, bu=Rounding(step, mode)))
    for step in _RATE_STEPS:
        text = f"rates a bushel rounded to {step}"
        yield text, replace(rules, rounding=replace(to, usd_bu=replace(to.usd_bu, step=step)))
    for step in _SHRINK_STEPS:
        text = f"shrink rounded to {step} %"
        yield text, replace(rules, rounding=replace(to, shrink_pct=replace(to.shrink_pct, step=step)))


def _based(rules: Rules, base: Decimal) -> Rules:
    by = base - rules.base_moisture_pct
    shrink, charge = rules.shrink, rules.drying_charge
    return replace(
        rules,
        base_moisture_pct=base,
        shrink=shrink and replace(shrink, base_moisture_pct=shrink.base_moisture_pct + by),
        discount=_moved(rules.discount, by),
        drying_charge=charge
        and replace(charge, base_moisture_pct=charge.base_moisture_pct + by, bands=_moved(charge.bands, by)),
    )


def _near(base: Decimal) -> list[Decimal]:
    return [each for each in _BASES if each != base and abs(each - base) <= _NEAR_PCT]


def _way(mode: str) -> str:
    return mode.replace("_", " ")
