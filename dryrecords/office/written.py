"""Numbers, amounts, times and units as people write them."""

from __future__ import annotations

import math
from datetime import datetime
from zoneinfo import ZoneInfo

from dryrecords.core.quantities import UNITS

NOTHING = "—"
MINUS = "−"
# Signs of a unit, where its name is not what stands on paper.
SIGNS = {
    "f": "°F",
    "in": "in",
    "inh2o": "in of water",
    "btu": "Btu",
    "btu_h": "Btu/h",
    "btu_gal": "Btu/gal",
    "btu_per_lb": "Btu/lb",
    "lb_bu": "lb/bu",
    "volume_bu": "bu",
    "ft2": "ft²",
    "therm": "therms",
}
CURRENCY_SIGNS = {"USD": "$", "CAD": "CA$", "EUR": "€", "GBP": "£"}
# Uncertainties that begin with one of these keep a second digit: rounding 1.4 to 1 would take a third of it away.
KEEP_A_SECOND_DIGIT = "12"


def number(value: float | None, digits: int = 0) -> str:
    """A figure of so many decimals; below zero with a true minus sign."""
    if value is None or not math.isfinite(value):
        return NOTHING
    text = f"{abs(value):,.{max(digits, 0)}f}" if digits >= 0 else f"{round(abs(value), digits):,.0f}"
    return f"{MINUS}{text}" if value < 0 and text.strip("0.,") else text


def place(uncertainty: float) -> int:
    """Decimals that an uncertainty leaves to its figure; below zero tens, hundreds and so on."""
    digits, exponent = f"{uncertainty:.1e}".split("e")
    return -int(exponent) + (digits[0] in KEEP_A_SECOND_DIGIT)


def with_u(value: float | None, u: float | None, digits: int = 0) -> str:
    """`12.34 ± 0.15`: the figure ends where its uncertainty does; without one, after so many decimals."""
    if value is None or u is None or not (math.isfinite(value) and math.isfinite(u)) or u <= 0:
        return number(value, digits)
    ends = min(place(u), digits + 2)
    if u < 0.5 * 10.0**-ends:
        return number(value, digits)
    return f"{number(value, ends)} ± {number(u, ends)}"


def quantity(value: float | None, unit: str, digits: int = 0, u: float | None = None) -> str:
    """Of an SI value, in a trade unit of core.quantities, with its sign."""
    if value is None:
        return NOTHING
    scale = UNITS[unit].factor
    text = with_u(UNITS[unit].from_si(value), None if u is None else u / scale, digits)
    return text if text == NOTHING else f"{text} {sign(unit)}"


def sign(unit: str) -> str:
    return SIGNS.get(unit, unit)


def money(value: float | None, currency: str, u: float | None = None, digits: int = 2) -> str:
    """Whole units from a hundred on; below, so many decimals. No uncertainty is told finer than that."""
    if value is None:
        return NOTHING
    before = f"{MINUS if value < 0 else ''}{CURRENCY_SIGNS.get(currency, f'{currency} ')}"
    if u is None or u < 0.5 * 10**-digits:
        return before + number(abs(value), 0 if abs(value) >= 100 else digits)
    # Dollars or cents; nobody writes tenths of a dollar.
    ends = place(u) if place(u) <= 0 else max(2, min(place(u), digits))
    return f"{before}{number(abs(value), ends)} ± {number(u, ends)}"


def percent(value: float | None, digits: int = 1, u: float | None = None) -> str:
    return NOTHING if value is None else f"{with_u(value, u, digits)} %"


def moment(at: datetime | None, timezone: str) -> str:
    """`Oct 6, 2025, 7:10 am`, as the clock on the wall of the site says."""
    return NOTHING if at is None else f"{day(at, timezone)}, {clock(at, timezone)}"


def moment_named(at: datetime, timezone: str) -> str:
    """With the zone beside it, for pages where it need not be that of a site: `Oct 6, 2025, 12:10 pm UTC`."""
    return f"{moment(at, timezone)} {at.astimezone(ZoneInfo(timezone)):%Z}"


def day(at: datetime | None, timezone: str) -> str:
    if at is None:
        return NOTHING
    local = at.astimezone(ZoneInfo(timezone))
    return f"{local:%b} {local.day}, {local.year}"


def clock(at: datetime | None, timezone: str) -> str:
    if at is None:
        return NOTHING
    local = at.astimezone(ZoneInfo(timezone))
    return f"{local.hour % 12 or 12}:{local:%M} {'am' if local.hour < 12 else 'pm'}"


def duration(seconds: float | None) -> str:
    """`3 h 40 min`; days from two on."""
    if seconds is None or not math.isfinite(seconds):
        return NOTHING
    minutes = round(seconds / 60)
    if minutes >= 2 * 24 * 60:
        return f"{number(seconds / 86400, 1)} days"
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def named(code: str) -> str:
    """`rough_rice` reads `rough rice`."""
    return code.replace("_", " ")


def counted(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or one + 's'}"
