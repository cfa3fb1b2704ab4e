"""What a tank's own vapour can give against what its burners ask for, as people read it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django import forms

from dryrecords.core.quantities import UNITS
from dryrecords.office import written
from dryrecords.office.advice import number
from dryrecords.office.figures import Line
from dryrecords.season import cautions
from dryrecords.season.tank_state import VAPOUR_ASSUMED, Vaporisation

# Figures of the vapour are rules of thumb: no more digits than these are known.
DIGITS = 2
NAMES = {
    "level_pct": "the level",
    "air_temp_f": "the air outside",
    "diameter_in": "the tank's diameter",
    "length_in": "the tank's length",
    "diameter_in, length_in": "the tank's size",
    "dryer.burner_max_btu_h": "what a burner can take at most (Btu/h), on the record of its dryer",
}


# Column and unit of what is asked.
ASKED: dict[str, tuple[str, Callable[[float], float]]] = {
    "air_temp_f": ("air_temp_c", UNITS["f"].to_si),
    "level_pct": ("level_pct", float),
    "diameter_in": ("diameter_m", UNITS["in"].to_si),
    "length_in": ("length_m", UNITS["in"].to_si),
}


class VapourForm(forms.Form):
    """By GET; what is left empty is as it was last read."""

    air_temp_f = number("Outside, °F", -60, 130)
    level_pct = number("Level, %", 0, 100)
    diameter_in = number("Tank across, in", 1, 2000)
    length_in = number("Tank's length, in", 1, 2000)

    def given(self) -> dict[str, float]:
        known = {name: value for name, value in self.cleaned_data.items() if value is not None}
        return {column: to_si(known[name]) for name, (column, to_si) in ASKED.items() if name in known}


@dataclass(frozen=True)
class VapourLines:
    is_propane: bool
    answer: str
    lines: list[Line]
    lacks: str
    assumed: list[str]
    cautions: list[str]


def vapour_lines(of: Vaporisation, zone: str) -> VapourLines:
    is_propane = of.tank.fuel == "propane"
    return VapourLines(
        is_propane=is_propane,
        answer=_answer(of),
        lines=_level(of, zone) + (_powers(of) if is_propane else []),
        lacks=", ".join(NAMES[name] for name in of.missing if name in NAMES),
        assumed=[*VAPOUR_ASSUMED, *map(_named, of.assumed)],
        cautions=[*cautions.of_vapour(of.enough), *cautions.FUEL],
    )


def _answer(of: Vaporisation) -> str:
    if of.gives_w is None or of.enough is None:
        return ""
    gives, asked = _power(of.gives_w), _power(max(of.burners_max_w or 0.0, of.burning_w or 0.0))
    return f"{gives} of vapour; the burners ask for {asked}" + ("." if of.enough else ", which is more.")


def _level(of: Vaporisation, zone: str) -> list[Line]:
    lines = [Line("Level", written.percent(of.level_pct, 0))]
    if of.level:
        lines.append(Line("Read", written.moment(of.level.at, zone)))
        lines.append(Line("In it then", written.quantity(of.level.volume_m3, "gal")))
        lines.append(Line("Delivered since", written.quantity(of.level.delivered_m3, "gal")))
    return [line for line in lines if line.text != written.NOTHING]


def _powers(of: Vaporisation) -> list[Line]:
    size = [written.quantity(each, "in") for each in (of.diameter_m, of.length_m)]
    lines = [
        Line("Air outside", written.quantity(of.air_temp_c, "f")),
        Line("Diameter and length", written.NOTHING if written.NOTHING in size else f"{size[0]}, {size[1]}"),
        Line("Its own vapour gives", _power(of.gives_w)),
        Line("Burners at most", _power(of.burners_max_w)),
        Line("As its dryers burnt, all at once", _power(of.burning_w)),
        Line("Heat that a vaporiser needs for that", _power(of.vaporiser_heat_w)),
    ]
    return [line for line in lines if line.text != written.NOTHING]


def _power(value: float | None) -> str:
    if value is None:
        return written.NOTHING
    outward = UNITS["btu_h"].from_si(value)
    digits = DIGITS - len(f"{abs(outward):.0f}")
    return f"{written.number(outward, min(digits, 0))} Btu/h"


def _named(assumed: str) -> str:
    """`level_pct: the newest reading` as a sentence."""
    name, told = assumed.split(": ", 1)
    return f"{NAMES[name].capitalize()}: {told}."
