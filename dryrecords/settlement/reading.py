"""Reads exact numbers, choices and lists out of a JSON object, and notes everything that is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from dryrecords.core.decimals import from_float
from dryrecords.core.errors import FieldError
from dryrecords.settlement.bounds import Bound

_TEXT = re.compile(r"-?[0-9]{1,12}(\.[0-9]{1,12})?")
# A double has some sixteen digits: what is finer than this in a JSON number is noise of its own.
_FINEST = Decimal("1e-12")
_LARGEST = 10**12


class Part:
    """An object of the document. What cannot be read is noted and replaced by something to go on with."""

    def __init__(self, values: Mapping[str, Any], pointer: str, problems: list[FieldError]) -> None:
        self.values, self.pointer, self.problems = values, pointer, problems
        self.asked: set[str] = set()

    def refuse(self, name: str, code: str, detail: str) -> None:
        pointer = f"{self.pointer}/{name}" if name else self.pointer
        self.problems.append(FieldError(pointer, code, detail))

    def value(self, name: str) -> Any:
        """Null is the same as nothing."""
        self.asked.add(name)
        return self.values.get(name)

    def part(self, name: str) -> Part | None:
        value = self.value(name)
        return None if value is None else self._object(name, value)

    def parts(self, name: str) -> list[Part]:
        values = self.value(name)
        if values is None:
            return []
        if isinstance(values, str) or not isinstance(values, Sequence):
            self.refuse(name, "not_a_list", "A list of bands is expected here.")
            return []
        objects = [self._object(f"{name}/{number}", each) for number, each in enumerate(values)]
        return [each for each in objects if each is not None]

    def _object(self, name: str, value: Any) -> Part | None:
        if isinstance(value, Mapping):
            return Part(value, f"{self.pointer}/{name}", self.problems)
        self.refuse(name, "not_an_object", "An object is expected here.")
        return None

    def number(self, name: str, bound: Bound) -> Decimal | None:
        value = self.value(name)
        if value is None:
            return None
        number = exact(value)
        if number is None:
            self.refuse(name, "not_exact", "A number is expected, as text such as 0.25.")
        elif problem := bound.problem(f"{self.pointer}/{name}", number):
            self.problems.append(problem)
        else:
            return number
        return bound.highest

    def needed(self, name: str, bound: Bound) -> Decimal:
        number = self.number(name, bound)
        if number is None:
            self.refuse(name, "required", "This has to be said.")
            return bound.highest
        return number

    def choice(self, name: str, among: Sequence[str], otherwise: str | None = None) -> str:
        value = self.value(name)
        if value is None and otherwise is not None:
            return otherwise
        if value in among:
            return str(value)
        self.refuse(name, "not_a_choice", f"One of {', '.join(among)} is expected.")
        return among[0]

    def no_more(self) -> None:
        for name in sorted(set(map(str, self.values)) - self.asked):
            self.refuse(name.replace("~", "~0").replace("/", "~1"), "unknown", "The rules know nothing of this name.")


def exact(value: Any) -> Decimal | None:
    """A number exactly as it was written, or nothing."""
    if isinstance(value, str):
        return +Decimal(value) if _TEXT.fullmatch(value) else None
    if isinstance(value, float):
        return _plain(from_float(value, _FINEST).normalize()) if abs(value) < _LARGEST else None
    if isinstance(value, int) and not isinstance(value, bool):
        return Decimal(value)
    return _plain(value) if isinstance(value, Decimal) and value.is_finite() else None


def _plain(value: Decimal) -> Decimal:
    """2E+1 is how a decimal may write 20, and not how people do."""
    return value.quantize(Decimal(1)) if value == value.to_integral_value() and abs(value) < _LARGEST else value
