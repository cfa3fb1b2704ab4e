"""Drawings of figures as SVG, made here: they need no script, print, and tell series apart by mark and dash as well as
by colour. A drawing is a picture; the numbers behind it stand in a table beside it (`chart.py`)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

# User units; the style sheet lets the drawing fill its column, and sets larger letters on a phone.
WIDTH, HEIGHT = 640.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 80.0, 14.0, 34.0, 44.0
MARK = 5.0
# What a tick may be a multiple of.
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)

# Okabe and Ito, Color Universal Design (2008), are the colours of the style sheet's classes.
MARKS = {
    "circle": '<circle cx="{x}" cy="{y}" r="{r}"/>',
    "square": '<rect x="{left}" y="{top}" width="{d}" height="{d}"/>',
    "triangle": '<path d="M{x} {top}L{right} {bottom}H{left}Z"/>',
    "diamond": '<path d="M{x} {top}L{right} {y}L{x} {bottom}L{left} {y}Z"/>',
}
# One drawing of a page may be hatched: its pattern is found by its name.
HATCH = (
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="line red" d="M0 0V6"/></pattern></defs>'
)


@dataclass(frozen=True)
class Scale:
    """From values to a length, with the ticks that stand along it."""

    low: float
    high: float
    ticks: Sequence[tuple[float, str]]
    title: str = ""

    def at(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Look:
    """How a series is told apart."""

    colour: str = "ink"
    mark: str = ""
    # "" for a full line, `long`, `short`; `none` for marks without one.
    dash: str = "none"


@dataclass(frozen=True)
class Series:
    label: str
    look: Look
    x: Sequence[float]
    y: Sequence[float | None]
    # What a mark says when pointed at.
    told: Sequence[str] = ()
    # Half a bar above and below a mark.
    u: Sequence[float | None] = ()


def scale_of(
    values: Sequence[float], title: str = "", *, zero: bool = False, about: int = 5, least: float = 1.0
) -> Scale:
    """Round ticks around all values and over `least` at least; with `zero` from zero on, as lengths of bars have to."""
    low, high = min(values, default=0.0), max(values, default=1.0)
    low, high = (min(low, 0.0), max(high, 0.0)) if zero else (low, high)
    lacks = max(least - (high - low), 0.0)
    low, high = (low, high + lacks) if zero else (low - lacks / 2, high + lacks / 2)
    raw = (high - low) / about
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(each * size for each in STEPS if each * size >= raw * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) + (1 if step / size == 2.5 and step < 10 else 0)
    ticks = [(n * step, f"{n * step:,.{digits}f}".replace("-", "−")) for n in range(first, last + 1)]
    return Scale(first * step, last * step, ticks, title)


@dataclass
class Drawing:
    """Plot area with axes; series and bars are added in the order in which they lie on each other."""

    x: Scale
    y: Scale
    what: str
    height: float = HEIGHT
    _parts: list[str] = field(default_factory=list)
    _is_hatched: bool = False

    def _x(self, value: float) -> float:
        return LEFT + self.x.at(value) * (WIDTH - LEFT - RIGHT)

    def _y(self, value: float) -> float:
        return self.height - BOTTOM - self.y.at(value) * (self.height - TOP - BOTTOM)

    def add(self, series: Series) -> None:
        colour = escape(series.look.colour)
        if series.look.dash != "none":
            path = self._path(series)
            self._parts.append(f'<path class="line {colour} {series.look.dash}" d="{path}"/>')
        for i, (x, y) in enumerate(zip(series.x, series.y, strict=True)):
            if y is None or not series.look.mark:
                continue
            if series.u and (u := series.u[i]):
                low, high = self._y(max(y - u, self.y.low)), self._y(min(y + u, self.y.high))
                self._parts.append(f'<path class="line {colour}" d="M{self._x(x):.1f} {low:.1f}V{high:.1f}"/>')
            told = series.told[i] if series.told else ""
            mark = _mark(series.look.mark, self._x(x), self._y(y))
            self._parts.append(_titled(f'<g class="mark {colour}">{mark}', told))

    def _path(self, series: Series) -> str:
        """Broken where a value is not known."""
        path, pen = [], "M"
        for x, y in zip(series.x, series.y, strict=True):
            if y is None:
                pen = "M"
                continue
            path.append(f"{pen}{self._x(x):.1f} {self._y(y):.1f}")
            pen = "L"
        return "".join(path)

    def bar(self, left: float, right: float, value: float, told: str, *, hatched: bool = False) -> None:
        x, end, zero, top = self._x(left) + 1, self._x(right) - 1, self._y(max(self.y.low, 0.0)), self._y(value)
        high, low = min(zero, top), max(zero, top)
        box = f'x="{x:.1f}" y="{high:.1f}" width="{max(end - x, 1):.1f}" height="{low - high:.1f}"'
        self._is_hatched |= hatched
        kind, fill = ("hatched", ' fill="url(#hatch)"') if hatched else ("filled", "")
        self._parts.append(_titled(f'<g class="bar {kind}"><rect {box}{fill}/>', told))

    def upright(self, value: float, label: str) -> None:
        """A line across, at a value along x, with words beside it."""
        x = self._x(value)
        anchor, beside = ("end", x - 6) if x > WIDTH * 0.7 else ("start", x + 6)
        self._parts.append(
            f'<path class="line ink long" d="M{x:.1f} {TOP - 4}V{self.height - BOTTOM:.1f}"/>'
            f'<text x="{beside:.1f}" y="{TOP + 12}" text-anchor="{anchor}">{escape(label)}</text>'
        )

    def level(self, value: float, label: str) -> None:
        """The same at a value along y."""
        y = self._y(value)
        self._parts.append(
            f'<path class="line ink long" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>'
            f'<text x="{WIDTH - RIGHT}" y="{y - 6:.1f}" text-anchor="end">{escape(label)}</text>'
        )

    def svg(self) -> SafeString:
        foot = self.height - BOTTOM
        parts = [
            f'<svg class="drawing" viewBox="0 0 {WIDTH:.0f} {self.height:.0f}" role="img"',
            f' aria-label="{escape(self.what)}">',
            HATCH if self._is_hatched else "",
            f'<text x="0" y="16">{escape(self.y.title)}</text>',
        ]
        for value, label in self.y.ticks:
            y = self._y(value)
            parts.append(f'<path class="hair" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>')
            parts.append(f'<text x="{LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">{escape(label)}</text>')
        for value, label in self.x.ticks:
            x = self._x(value)
            parts.append(f'<path class="axis" d="M{x:.1f} {foot:.1f}v5"/>')
            # A label at the very end keeps inside.
            at, anchor = (WIDTH, "end") if x > WIDTH - RIGHT - 12 else (x, "middle")
            parts.append(f'<text x="{at:.1f}" y="{foot + 24:.1f}" text-anchor="{anchor}">{escape(label)}</text>')
        parts.append(f'<path class="axis" d="M{LEFT} {foot:.1f}H{WIDTH - RIGHT}"/>')
        parts += self._parts
        parts.append("</svg>")
        # Every text in it has been escaped above; the rest are numbers and names of our own.
        return mark_safe("".join(parts))


def key(look: Look) -> SafeString:
    """The sample of a series that stands in the legend."""
    line = "" if look.dash == "none" else f'<path class="line {look.colour} {look.dash}" d="M0 8H32"/>'
    mark = f'<g class="mark {look.colour}">{_mark(look.mark, 16, 8)}</g>' if look.mark else ""
    return mark_safe(f'<svg class="key" viewBox="0 0 32 16" aria-hidden="true">{line}{mark}</svg>')


def _mark(mark: str, x: float, y: float) -> str:
    sides = {"left": x - MARK, "right": x + MARK, "top": y - MARK, "bottom": y + MARK, "d": 2 * MARK, "r": MARK}
    return MARKS[mark].format(**{name: f"{at:.1f}" for name, at in {"x": x, "y": y, **sides}.items()})


def _titled(group: str, told: str) -> str:
    return f"{group}<title>{escape(told)}</title></g>" if told else f"{group}</g>"
