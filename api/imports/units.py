"""Units as people write them in the headers of spreadsheets."""

from __future__ import annotations

import re

from rest_framework import serializers

from api.fields import ExactField
from api.quantities import QuantityField
from dryrecords.core.quantities import UNITS, Unit

# SI units and decimal multiples are exact by definition; 1 kg/hL is 10 kg/m3.
_METRIC = {
    "kg": Unit("kg", "kg", 1.0),
    "t": Unit("t", "kg", 1000.0),
    "c": Unit("c", "c", 1.0),
    "m": Unit("m", "m", 1.0),
    "cm": Unit("cm", "m", 0.01),
    "mm": Unit("mm", "m", 0.001),
    "m2": Unit("m2", "m2", 1.0),
    "m3": Unit("m3", "m3", 1.0),
    "l": Unit("l", "m3", 0.001),
    "m3/s": Unit("m3/s", "m3_s", 1.0),
    "m3/h": Unit("m3/h", "m3_s", 1 / 3600),
    "pa": Unit("pa", "pa", 1.0),
    "kpa": Unit("kpa", "pa", 1000.0),
    "w": Unit("w", "w", 1.0),
    "kw": Unit("kw", "w", 1000.0),
    "kwh": Unit("kwh", "j", 3.6e6),
    "mj": Unit("mj", "j", 1e6),
    "gj": Unit("gj", "j", 1e9),
    "mj/l": Unit("mj/l", "j_m3", 1e9),
    "kg/hl": Unit("kg/hl", "kg_m3", 10.0),
    "g/l": Unit("g/l", "kg_m3", 1.0),
    "kg/m3": Unit("kg/m3", "kg_m3", 1.0),
    "s": Unit("s", "s", 1.0),
}

_TRADE = {
    "lb": ("lbs", "pound", "pounds"),
    "f": ("fahrenheit",),
    "ft": ("feet", "foot"),
    "ft2": ("sqft", "squarefeet"),
    "in": ("inch", "inches"),
    "hp": ("horsepower",),
    "cfm": ("ft3/min",),
    "inh2o": ("inwc", "inwg", "inchesofwater"),
    "gal": ("gals", "gallon", "gallons", "usgal"),
    "therm": ("therms",),
    "btu_h": ("btu/h", "btu/hr", "btuh"),
    "btu_gal": ("btu/gal",),
    "lb_bu": ("lb/bu", "lbs/bu"),
    "volume_bu": ("bu", "bushel", "bushels"),
    "h": ("hr", "hrs", "hour", "hours"),
    "min": ("mins", "minute", "minutes"),
}

_OTHER_NAMES = {
    "kgs": "kg",
    "kilogram": "kg",
    "kilograms": "kg",
    "tonne": "t",
    "tonnes": "t",
    "celsius": "c",
    "meter": "m",
    "meters": "m",
    "metre": "m",
    "metres": "m",
    "liter": "l",
    "liters": "l",
    "litre": "l",
    "litres": "l",
    "sec": "s",
}

BY_NAME: dict[str, Unit] = {
    **_METRIC,
    **{name: _METRIC[unit] for name, unit in _OTHER_NAMES.items()},
    **{suffix: UNITS[suffix] for suffix in _TRADE if suffix != "volume_bu"},
    **{name: UNITS[suffix] for suffix, names in _TRADE.items() for name in names},
}

# Of fields that are not converted: how their names end, and what may stand for that.
ENDING = re.compile(r"_(pct|kwh|usd_bu|usd|lb_bu|lb|bu)$")
_SAME = {
    "pct": {"%", "pct", "percent", "%wb", "percentwb"},
    "kwh": {"kwh"},
    "usd": {"$", "usd"},
    "usd_bu": {"$", "usd", "$/bu", "usd/bu", "$/bushel"},
    "lb": {"lb", *_TRADE["lb"]},
    "lb_bu": {"lb_bu", *_TRADE["lb_bu"]},
    "bu": {"bu", *_TRADE["volume_bu"]},
}


def plain(text: str) -> str:
    """`° F` and `deg. F` are `f`, `ft²` is `ft2`, `in. H2O` is `inh2o`."""
    text = text.lower().replace("²", "2").replace("³", "3")
    return re.sub(r"degrees|degree|deg|[\s.°º]", "", text)


def unit_named(text: str, field: serializers.Field) -> Unit | bool | None:
    """The unit that a text names for a field: True is the field's own, None none that fits."""
    name = plain(text)
    if not name:
        return True
    if isinstance(field, QuantityField) and field.unit is not None:
        unit = BY_NAME.get(name)
        return unit if unit is not None and unit.si_suffix == field.unit.si_suffix else None
    if isinstance(field, QuantityField | ExactField):
        ending = ENDING.search(field.field_name)
        return True if ending and name in _SAME[ending[1]] else None
    return None
