"""Shrink as laws and an insurer fix it, with citation and date, and how far a schedule's shrink departs from it.

Keys are our own: ISO 3166-2 for a state, ISO 3166-1 for a country, a plain word for the rule that is no country's. Laws
change: what is here is what the named text said, and every answer defers to the text that is in force.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from dryrecords.settlement.terms import HUNDRED, ZERO, Rounding, Rules

# As exact as a schedule may be, so that a comparison never rounds more than what it compares.
_PCT = Rounding(Decimal("0.000001"))
_TENTH = Decimal("0.1")


@dataclass(frozen=True)
class Statute:
    """One text that fixes shrink for moisture. `kind` says how.

    rate     so many percent of the scale weight a point, above the schedule's own base
    formula  100 (A - B) / (100 - B), with B the base or the final moisture, but not below a floor: that many points
             below the least moisture at which the grain counts as tough
    tenths   so many percent for each whole tenth of a point above a base of its own, more above a second moisture
    """

    key: str
    name: str
    kind: str
    citation: str
    text_of: str
    says: str
    handling: str
    rate_pct_per_point: Decimal = ZERO
    floor_below_tough_pct: Decimal = ZERO
    tough_from_pct: Mapping[str, Decimal] = field(default_factory=dict)
    base_moisture_pct: Mapping[str, Decimal] = field(default_factory=dict)
    pct_per_tenth: Decimal = ZERO
    steeper_above_pct: Mapping[str, Decimal] = field(default_factory=dict)
    steeper_pct_per_tenth: Decimal = ZERO
    most_handling_pct: Decimal | None = None

    @property
    def source(self) -> str:
        """As it is printed beside every figure."""
        return f"{self.citation} ({self.text_of}); re-read at its current revision"

    def covers(self, crop: str) -> bool:
        return self.kind != "tenths" or crop in self.base_moisture_pct


# Least moisture of tough wheat, Canadian Grain Commission; of other grains no figure with a source is known here.
_TOUGH = {"wheat": Decimal("14.6")}
_CANADA = "Canada, licensed elevators"

STATUTES = {
    each.key: each
    for each in (
        Statute(
            key="US-IA",
            name="Iowa, grain dealers and warehouses",
            kind="rate",
            citation="Iowa Code 203.20 and 203C.25",
            text_of="text of 2024, which says grain; earlier texts say corn and soybeans",
            says="1.18 % of the scale weight for each point of moisture",
            handling=(
                "Handling shrink is separate and has to be posted; one combined factor only where 1.18, the handling "
                "and the combined factor are all posted."
            ),
            rate_pct_per_point=Decimal("1.18"),
        ),
        Statute(
            key="CA",
            name=_CANADA,
            kind="formula",
            citation="SOR/2018-176",
            text_of="as amended by SOR/2024-93",
            says="100 (A - B) / (100 - B) of the delivered weight, B no lower than 0.1 below tough",
            handling="No handling shrink at primary elevators from 1 August 2003 (Canadian Grain Commission).",
            floor_below_tough_pct=Decimal("0.1"),
            tough_from_pct=_TOUGH,
            most_handling_pct=ZERO,
        ),
        Statute(
            key="CA-before-2017",
            name=f"{_CANADA}, before the order of 2017",
            kind="formula",
            citation="Canadian Grain Commission, consultation on shrinkage",
            text_of="floor before the order of 2017, as reported",
            says="100 (A - B) / (100 - B) of the delivered weight, B no lower than 1.1 below tough",
            handling="No handling shrink at primary elevators from 1 August 2003 (Canadian Grain Commission).",
            floor_below_tough_pct=Decimal("1.1"),
            tough_from_pct=_TOUGH,
            most_handling_pct=ZERO,
        ),
        Statute(
            key="crop-insurance",
            name="United States crop insurance, coarse grains",
            kind="tenths",
            citation="7 CFR 457.113 section 11(d); RMA Final Agency Determination FAD-213",
            text_of="as quoted in FAD-213",
            says="0.12 % of production for each tenth above the base; corn 0.2 % for each tenth above 30 %",
            handling="An insurer's count of production before quality adjustment: it does not bind a buyer.",
            base_moisture_pct={"corn": Decimal(15), "sorghum": Decimal(14), "soybean": Decimal(13)},
            pct_per_tenth=Decimal("0.12"),
            steeper_above_pct={"corn": Decimal(30)},
            steeper_pct_per_tenth=Decimal("0.2"),
        ),
    )
}


def statutory_shrink_pct(statute: Statute, crop: str, moisture_pct: Decimal, base_pct: Decimal) -> Decimal | None:
    """Shrink for moisture alone by the text, to a millionth of a percent; None for a crop it does not speak of.

    `base_pct` is the moisture down to which the grain is shrunk or was dried: a base of the text's own takes its place,
    and a floor lifts it where one is known for the crop.
    """
    if not statute.covers(crop):
        return None
    if statute.kind == "tenths":
        return _by_tenths(statute, crop, moisture_pct)
    base = _floored(statute, crop, base_pct)
    points = max(moisture_pct - base, ZERO)
    if statute.kind == "rate":
        return _PCT.of(statute.rate_pct_per_point * points)
    return _PCT.of(HUNDRED * points, HUNDRED - base)


def _floored(statute: Statute, crop: str, base_pct: Decimal) -> Decimal:
    tough = statute.tough_from_pct.get(crop)
    return base_pct if tough is None else max(base_pct, tough - statute.floor_below_tough_pct)


def _by_tenths(statute: Statute, crop: str, moisture_pct: Decimal) -> Decimal:
    base = statute.base_moisture_pct[crop]
    bend = statute.steeper_above_pct.get(crop, moisture_pct)
    below = max(min(moisture_pct, bend) - base, ZERO) // _TENTH
    above = max(moisture_pct - bend, ZERO) // _TENTH
    return _PCT.of(below * statute.pct_per_tenth + above * statute.steeper_pct_per_tenth)


@dataclass(frozen=True)
class Departure:
    """How a schedule's shrink at one moisture stands to a text. Positive is more than the text takes."""

    statute: Statute
    applied_pct: Decimal
    statutory_pct: Decimal
    departs_by_pct: Decimal
    handling_pct: Decimal
    handling_above_pct: Decimal | None
    rounded_to_pct: Decimal
    text: str

    @property
    def rate_departs(self) -> bool:
        """By more than the schedule's own rounding explains."""
        return abs(self.departs_by_pct) >= self.rounded_to_pct

    @property
    def departs(self) -> bool:
        return self.rate_departs or bool(self.handling_above_pct)


def departure(rules: Rules, statute: Statute, crop: str, moisture_used_pct: Decimal) -> Departure | None:
    """The schedule's shrink for moisture, without its handling, against the text.

    None for a crop the text does not cover, and for a schedule that takes no shrink: a lower price is none.
    """
    shrink = rules.shrink
    if shrink is None:
        return None
    base = shrink.base_moisture_pct
    statutory = statutory_shrink_pct(statute, crop, moisture_used_pct, base)
    if statutory is None:
        return None
    total = rules.shrink_pct(moisture_used_pct)
    handling = shrink.handling_pct if moisture_used_pct > base else ZERO
    most = statute.most_handling_pct
    found = Departure(
        statute=statute,
        applied_pct=total - handling,
        statutory_pct=statutory,
        departs_by_pct=total - handling - statutory,
        handling_pct=handling,
        handling_above_pct=None if most is None else max(handling - most, ZERO),
        rounded_to_pct=rules.rounding.shrink_pct.step,
        text="",
    )
    return _told(found, crop, moisture_used_pct)


def _told(found: Departure, crop: str, moisture_pct: Decimal) -> Departure:
    statute, by = found.statute, found.departs_by_pct
    words = [
        f"At {_short(moisture_pct)} % the schedule takes {_short(found.applied_pct)} % for moisture",
        f"and {_short(found.handling_pct)} % for handling;" if found.handling_pct else "and nothing for handling;",
        f"{statute.name}: {statute.says}; here {_short(found.statutory_pct)} %.",
        f"It takes {_short(abs(by))} {'more' if by > 0 else 'less'}." if found.rate_departs else "The two agree.",
        statute.handling,
    ]
    if statute.kind == "formula" and crop not in statute.tough_from_pct:
        words.append(f"No floor for {crop} is known here: the schedule's own base was taken.")
    words.append(f"Source: {statute.source}. Nothing here is legal advice; the law as it now reads decides.")
    return Departure(**(vars(found) | {"text": " ".join(words)}))


def _short(value: Decimal) -> str:
    return f"{value.normalize():f}"
