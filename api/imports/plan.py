"""How a sheet will be read: asked before the first row, so that nothing about it is guessed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from api.fields import ExactField, MomentField
from api.imports.cells import (
    Unreadable,
    Ways,
    comma_matters,
    is_blank,
    is_local,
    order_matters,
    order_shown,
    reader_of,
)
from api.imports.headers import Column, columns_of
from api.imports.sheets import Sheet
from api.quantities import QuantityField
from api.record_serializer import RecordSerializer
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Site


@dataclass(frozen=True)
class Options:
    """What whoever brings a sheet says about it. Blank: nothing."""

    dates: str = ""
    decimal: str = ""
    timezone: str = ""
    # Their columns and our fields; a blank field leaves the column out.
    columns: Mapping[str, str] = field(default_factory=dict)
    dry_run: bool = False
    # Ids in the sheet are another organization's: each gets one of its own here, always the same.
    new_ids: bool = False


class Plan:
    """Columns with their fields, and how their cells are read."""

    def __init__(self, access: Access, kind: type[RecordSerializer], sheet: Sheet, options: Options) -> None:
        self.kind, self.fields = kind, kind.flat_fields()
        self.header = sheet.header
        self.columns = columns_of(kind, sheet.header, options.columns)
        self.ways = self._ways(access, sheet, options)
        self._readers = [
            (column, self.fields.get(column.field), reader_of(self.fields.get(column.field), column.unit, self.ways))
            for column in self.columns
        ]

    def body(self, cells: list[str]) -> tuple[dict[str, Any], list[FieldError]]:
        """A row as a body of the API, references as they were written; and what could not be read of it."""
        body, errors = {}, []
        for column, kind, read in self._readers:
            text = _text(column, cells)
            if is_blank(text, kind):
                continue
            try:
                body[column.field] = read(text)
            except Unreadable as error:
                errors.append(FieldError(f"/{column.field}", error.code, error.detail))
        errors += self._nameless(cells)
        return self.kind.nested(body), errors

    def texts(self, cells: list[str]) -> dict[str, str]:
        """What a row says of each field, as it was written."""
        said = ((column.field, kind, _text(column, cells)) for column, kind, _ in self._readers)
        return {name: text.strip() for name, kind, text in said if kind is not None and not is_blank(text, kind)}

    def _nameless(self, cells: list[str]) -> Iterator[FieldError]:
        """What stands under no header would be lost without a word."""
        for place, cell in enumerate(cells):
            if cell.strip() and not (place < len(self.header) and self.header[place]):
                yield FieldError("", "no_header", f"{cell.strip()[:50]!r} stands under no header.")
                return

    def _ways(self, access: Access, sheet: Sheet, options: Options) -> Ways:
        questions: list[FieldError] = []
        ways = Ways(
            self._day_first(sheet, options, questions),
            self._decimal_comma(sheet, options, questions),
            self._zone(access, sheet, options, questions),
        )
        if questions:
            raise Invalid(" ".join(each.detail for each in questions), errors=questions)
        return ways

    def _day_first(self, sheet: Sheet, options: Options, questions: list[FieldError]) -> bool | None:
        if options.dates:
            return options.dates == "day_first"
        cells = [cell for cell in self._cells(sheet, MomentField) if order_matters(cell[2])]
        shown = {order for _, _, text in cells if (order := order_shown(text)) is not None}
        if cells and len(shown) != 1:
            row, name, text = next((cell for cell in cells if order_shown(cell[2]) is None), cells[0])
            detail = f"Does the day or the month come first? Row {row}, {name}: {text!r}. Say dates."
            questions.append(FieldError("/dates", "ambiguous_dates", detail))
        return shown.pop() if len(shown) == 1 else None

    def _decimal_comma(self, sheet: Sheet, options: Options, questions: list[FieldError]) -> bool | None:
        if options.decimal:
            return options.decimal == "comma"
        for row, name, text in self._cells(sheet, QuantityField, ExactField):
            if comma_matters(text):
                detail = f"Is the comma a decimal comma? Row {row}, {name}: {text!r}. Say decimal comma or point."
                questions.append(FieldError("/decimal", "ambiguous_numbers", detail))
                break
        return None

    def _zone(self, access: Access, sheet: Sheet, options: Options, questions: list[FieldError]) -> ZoneInfo | None:
        if options.timezone:
            return ZoneInfo(options.timezone)
        local = next((cell for cell in self._cells(sheet, MomentField) if is_local(cell[2])), None)
        if local is None:
            return None
        zones = set(Site.objects.visible_to(access).values_list("timezone", flat=True))
        if len(zones) == 1:
            return ZoneInfo(zones.pop())
        row, name, text = local
        many = "The sites are in several." if zones else "There is no site yet that would tell."
        detail = f"In which time zone is row {row}, {name}: {text!r}? {many} Say the timezone."
        questions.append(FieldError("/timezone", "zone_needed", detail))
        return None

    def _cells(self, sheet: Sheet, *kinds: type) -> Iterator[tuple[int, str, str]]:
        """Row, name of the column and text of every cell of some kinds of fields."""
        columns = [column for column in self.columns if isinstance(self.fields.get(column.field), kinds)]
        for row, cells in sheet.rows:
            for column in columns:
                if text := _text(column, cells):
                    yield row, column.name, text


def _text(column: Column, cells: list[str]) -> str:
    texts = [cells[place] for place in column.places if place < len(cells)]
    return texts[0] if len(texts) == 1 else " ".join(filter(None, map(str.strip, texts)))
