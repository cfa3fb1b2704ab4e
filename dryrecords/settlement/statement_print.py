"""A statement's document as headings, tables and paragraphs: what the page and the PDF print, in the same words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

Document = dict[str, Any]

NOTHING = "–"
CROPS = {"rough_rice": "rough rice", "soybean": "soybeans"}
ESTIMATED = "≈"
ESTIMATED_NOTE = "≈ stands before fuel that was not metered for the load alone."
# "estimate" is a whole column wide.
WEIGHED_BY = {"scale": "scale", "volume": "volume", "estimate": "est."}


@dataclass(frozen=True)
class Column:
    """A column of the loads: its group, its heading, its cell of a load and of a sum. `optional`: only if not all 0."""

    group: str
    heading: str
    cell: Callable[[Document], str]
    total: Callable[[Document], str] = lambda sums: ""
    optional: bool = False
    # Of text: "left"; of names, which may be long: "wide".
    kind: str = ""


def _number(value: str | None) -> str:
    return NOTHING if value is None else f"{Decimal(value):,}"


def _figure(name: str, group: str, heading: str, *, summed: bool = True, optional: bool = False) -> Column:
    def cell(of: Document) -> str:
        return _number(of[name])

    return Column(group, heading, cell, cell if summed else lambda sums: "", optional)


def _over_drying(name: str, heading: str) -> Column:
    def cell(of: Document) -> str:
        return _number(of["over_drying"][name])

    return Column("Over-drying, fuel (not charged)", heading, cell, cell)


def _fuel(of: Document) -> str:
    fuel = of["fuel"]
    parts = [f"{_number(fuel[name])} {unit}" for name, unit in (("gal", "gal"), ("therm", "th")) if fuel[name]]
    mark = ESTIMATED if parts and fuel.get("basis", "metered") != "metered" else ""
    return mark + ", ".join(parts) if parts else NOTHING


def columns(currency: str) -> list[Column]:
    load, moisture, charges = "Load", "Moisture, %", f"Charges, {currency}"
    return [
        Column(load, "No.", lambda of: str(of["load"]), lambda sums: ""),
        Column(load, "Began", lambda of: of["at"][:10], kind="left"),
        Column(load, "Site, dryer", lambda of: f"{of['site']}, {of['dryer']}", kind="wide"),
        Column(load, "By", lambda of: WEIGHED_BY[of["mass_basis"]], kind="left"),
        Column(load, "Rate", lambda of: of["rate"], kind="left"),
        _figure("gas_usd", load, f"gas,\n{currency}", summed=False, optional=True),
        _figure("moisture_in_pct", moisture, "in", summed=False),
        _figure("moisture_out_pct", moisture, "out", summed=False),
        _figure("base_moisture_pct", moisture, "base", summed=False),
        _figure("points", moisture, "points", summed=False),
        _figure("wet_bu", "Bushels", "wet, in"),
        _figure("dry_bu", "Bushels", "dry, out"),
        _figure("back_bu", "Bushels", "back"),
        _figure("drying_usd", charges, "drying"),
        _figure("surcharge_usd", charges, "fuel\nsurch.", optional=True),
        _figure("in_usd", charges, "in", optional=True),
        _figure("out_usd", charges, "out", optional=True),
        _figure("total_usd", charges, "total"),
        _figure("below_base_usd", charges, "of it\nbelow base", optional=True),
        _over_drying("unsold_bu", "bu not\nsold"),
        _over_drying("total_usd", f"{currency}\nlost"),
        Column("Over-drying, fuel (not charged)", "fuel", _fuel, _fuel),
    ]


def printed(document: Document) -> Document:
    """Everything as text, in the order in which it is read."""
    currency, number = document["currency"], document["number"]
    used = [each for each in columns(currency) if not each.optional or _is_used(each, document)]
    return {
        "title": f"Statement {number}" if number else "Preview of a statement: not issued",
        "issuer": document["issuer"],
        "customer": document["customer"]["name"],
        "reference": document["customer"]["reference"] or "",
        "season": str(document["season"]),
        "issued": (document["issued_at"] or "")[:10],
        "corrects": _corrects(document),
        "sums": _sums(document),
        "bushels": [_bushels(each) for each in document["totals"]["by_crop"]],
        "headings": [{"text": each.heading, "kind": each.kind} for each in used],
        "groups": _groups(used),
        "lots": [_lot(section, used) for section in document["lots"]],
        "rates": [_rate(each) for each in document["rates"]],
        "unresolved": [_unresolved(each) for each in document["unresolved"]],
        "doubts": [f"{each['detail']} {_loads(each['loads'])}" for each in document["doubts"]],
        "notes": [*document["notes"], ESTIMATED_NOTE],
        "caution": document["caution"],
    }


def _is_used(column: Column, document: Document) -> bool:
    cells = (column.cell(each) for lot in document["lots"] for each in lot["loads"])
    return any(cell != NOTHING and Decimal(cell.replace(",", "")) for cell in cells)


def _groups(used: list[Column]) -> list[Document]:
    groups: list[Document] = []
    for each in used:
        if groups and groups[-1]["text"] == each.group:
            groups[-1]["span"] += 1
        else:
            groups.append({"text": each.group, "span": 1})
    return groups


def _corrects(document: Document) -> str:
    if document["corrects"] is None:
        return ""
    difference = document["difference_usd"]
    more = "more" if not difference.startswith("-") else "less"
    amount = f"{document['currency']} {_number(difference.removeprefix('-'))}"
    return f"Takes the place of statement {document['corrects']['number']}; the total is {amount} {more}."


def _sums(document: Document) -> list[Document]:
    totals = document["totals"]
    named = (
        ("drying_usd", "Drying"),
        ("surcharge_usd", "Fuel surcharge"),
        ("in_usd", "In-charges"),
        ("out_usd", "Out-charges"),
    )
    rows = [{"what": what, "amount": _number(totals[name])} for name, what in named]
    return [*rows, {"what": f"Total, {document['currency']}", "amount": _number(totals["total_usd"])}]


def _bushels(totals: Document) -> Document:
    return {
        "crop": _crop(totals["crop"]),
        "loads": str(totals["loads"]),
        "wet": _number(totals["wet_bu"]),
        "dry": _number(totals["dry_bu"]),
        "back": _number(totals["back_bu"]),
        "market": _number(totals["market_bu"]),
        "unsold": _number(totals["over_drying"]["unsold_bu"]),
        "lost": _number(totals["over_drying"]["total_usd"]),
        "below_base": _number(totals["below_base_usd"]),
        "fuel": _fuel(totals),
        "charges": _number(totals["total_usd"]),
    }


def _crop(name: str) -> str:
    return CROPS.get(name, name).capitalize()


def _lot(section: Document, used: list[Column]) -> Document:
    return {
        "title": f"{_crop(section['crop'])}: {section['name'] or 'without a lot'}",
        "rows": [[{"text": each.cell(load), "kind": each.kind} for each in used] for load in section["loads"]],
        "total": [each.total(section["totals"]) for each in used],
    }


def _rate(rate: Document) -> Document:
    whose = "the customer's own" if rate["customers_own"] else "for all customers"
    crop = _crop(rate["crop"]) if rate["crop"] else "All crops"
    return {
        "key": rate["key"],
        "title": f"{crop}, {whose}, from {rate['effective_from']}",
        "text": " ".join(rate["text"]),
    }


def _unresolved(entry: Document) -> Document:
    if "batch" not in entry:
        return {"where": "", "what": entry["detail"]}
    where = f"{_crop(entry['crop'])}, {entry['at'][:16].replace('T', ' ')}, {entry['site']}, {entry['dryer']}"
    return {"where": where, "what": entry["detail"]}


def _loads(numbers: list[int]) -> str:
    """Numbers in a row as from and to."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    told = ", ".join(str(first) if first == last else f"{first}–{last}" for first, last in spans)
    return f"{'Load' if len(numbers) == 1 else 'Loads'} {told}."
