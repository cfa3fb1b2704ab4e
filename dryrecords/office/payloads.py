"""Records as devices sent them, in names and units of the wire: in words, and as texts that can be typed over."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dryrecords.core.quantities import UNITS, Unit
from dryrecords.journal.models import Mutation
from dryrecords.office import typed, written

PLAIN_SIGNS = {"_pct": "%", "_kwh": "kWh", "_usd": ""}
COUNTS = {"probes", "season"}
LONGEST_VALUE = 10_000


@dataclass(frozen=True)
class Payload:
    """A mutation as it is kept. `record` is None where it is no record at all; `text` is what was sent."""

    resource: str
    op: str
    base_version: Any
    record: dict[str, Any] | None
    text: str


def payload_of(entry: Mutation) -> Payload:
    try:
        sent = json.loads(entry.payload or "{}")
    except (ValueError, RecursionError):
        return Payload(entry.resource, entry.op, None, None, entry.payload or "")
    record = sent.get("record")
    return Payload(
        resource=str(sent.get("resource")),
        op=str(sent.get("op")),
        base_version=sent.get("base_version"),
        record=record if isinstance(record, dict) else None,
        text=json.dumps(record, ensure_ascii=False, indent=1),
    )


def label(name: str) -> str:
    """`plenum_temp_f` reads `plenum temp`."""
    stem = name.removesuffix("_at") if name != "at" else "when"
    for ending in (*PLAIN_SIGNS, *sorted((f"_{suffix}" for suffix in UNITS), key=len, reverse=True)):
        if stem.endswith(ending):
            stem = stem.removesuffix(ending)
            break
    return written.named(stem)


def sign(name: str) -> str:
    plain = next((said for ending, said in PLAIN_SIGNS.items() if name.endswith(ending)), None)
    if plain is not None:
        return plain
    suffix = _suffix(name)
    return written.sign(suffix) if suffix else ""


def _suffix(name: str) -> str:
    return max((suffix for suffix in UNITS if name.endswith(f"_{suffix}")), key=len, default="")


def _is_number(name: str) -> bool:
    return name in COUNTS or bool(_suffix(name)) or name.endswith(tuple(PLAIN_SIGNS))


def _is_moment(name: str) -> bool:
    return name == "at" or name.endswith(("_at", "_from"))


def in_words(name: str, value: Any, names: Mapping[str, str]) -> str:
    if value is None or value == "":
        return written.NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | dict):
        return written.counted(len(value), "entry", "entries")
    text = names.get(str(value).lower(), "")
    if not text and _is_moment(name):
        text = _moment(str(value))
    return text or f"{written.named(str(value)[:200]) if _is_code(value) else str(value)[:200]} {sign(name)}".strip()


def _is_code(value: Any) -> bool:
    return isinstance(value, str) and re.fullmatch(r"[a-z]+(_[a-z]+)+", value) is not None


def _moment(text: str) -> str:
    """By the clock that the text itself goes by."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return ""
    return f"{at:%b} {at.day}, {at.year}, {at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"


def as_text(value: Any) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def from_text(name: str, text: str, sent: Any) -> Any:
    """What is typed, as the wire has it. Whatever cannot be made sense of stays as it is: the service says why not."""
    if text == as_text(sent):
        return sent
    if isinstance(sent, bool) and text.lower() in ("true", "yes", "false", "no"):
        return text.lower() in ("true", "yes")
    if isinstance(sent, list | dict):
        try:
            return json.loads(text)
        except (ValueError, RecursionError):
            return text
    if _is_moment(name):
        return _with_the_offset_of(sent, text)
    return _number(name, text) if _is_number(name) else text


def _with_the_offset_of(sent: Any, text: str) -> str:
    """A time typed without offset goes by the clock of the one it takes the place of."""
    try:
        typed_at, sent_at = datetime.fromisoformat(text), datetime.fromisoformat(str(sent))
    except ValueError:
        return text
    return typed_at.replace(tzinfo=sent_at.tzinfo).isoformat() if typed_at.tzinfo is None else text


def _number(name: str, text: str) -> Any:
    unit: Unit | None = UNITS.get(_suffix(name))
    try:
        value = typed.quantity(text, unit)
    except typed.Unreadable:
        return text
    outward = value if unit is None else unit.from_si(value)
    return int(outward) if outward == int(outward) else outward
