"""The form of a record: fields in groups, the rules of its table, and what of it was changed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms

from dryrecords.core.errors import DomainError, FieldError
from dryrecords.equipment.models import Bin, Dryer, Meter, Tank
from dryrecords.harvest.models import Lot
from dryrecords.office import written
from dryrecords.office.fields import Moment, Written
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Site
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.rules import broken_anywhere
from dryrecords.tenancy.writes import Writer

MOST_CHOICES = 400
Choices = list[tuple[UUID, str]]


@dataclass(frozen=True)
class Group:
    """Fields that are filled in together. Folded ones open when something stands in them."""

    title: str
    fields: Mapping[str, forms.Field]
    folded: bool = False


@dataclass(frozen=True)
class Place:
    """Who fills a form in, and where: whose clock counts, and what can be chosen there."""

    access: Access
    zone: ZoneInfo
    site: Site | None
    season: int
    # Below what; None for what is the organization's.
    parent: Any = None
    # What the form corrects; None for a new record.
    record: Any = None

    def lots(self) -> Choices:
        near = Lot.objects.visible_to(self.access).filter(season__range=(self.season - 1, self.season + 1))
        found = near.select_related("customer").order_by("-season", "name")[:MOST_CHOICES]
        named = [(lot.pk, f"{lot.name}, {lot.season} ({lot.customer.name})") for lot in found]
        return self._with_its_own("lot", named)

    def bins(self) -> Choices:
        return self._with_its_own("bin", self._named(self._at_the_site(Bin)))

    def dryers(self) -> Choices:
        return self._with_its_own("dryer", self._named(self._at_the_site(Dryer)))

    def tanks(self) -> Choices:
        return self._with_its_own("tank", self._named(self._at_the_site(Tank)))

    def meters(self) -> Choices:
        return self._with_its_own("meter", self._named(Meter.objects.visible_to(self.access)))

    def sites(self) -> Choices:
        return self._with_its_own("site", self._named(Site.objects.visible_to(self.access)))

    def _at_the_site(self, model: Any) -> Any:
        found = model.objects.visible_to(self.access)
        return found.filter(site=self.site) if self.site else found.none()

    def _named(self, found: Any) -> Choices:
        return [(each.pk, each.name) for each in found.order_by("name", "id")[:MOST_CHOICES]]

    def _with_its_own(self, name: str, choices: Choices) -> Choices:
        """What the record has now can be kept, wherever it is from."""
        held = getattr(self.record, f"{name}_id", None)
        if held is None or held in {key for key, _ in choices}:
            return choices
        return [*choices, (held, str(getattr(self.record, name)))]


@dataclass(frozen=True)
class Kind:
    """One kind of record as people enter it."""

    writer: Writer[Any]
    one: str
    many: str
    groups: Callable[[Place], list[Group]]
    # Below what it is entered, and the column that names it; blank for what is the organization's.
    parents: Mapping[str, str] = field(default_factory=dict)
    defaults: Mapping[str, Any] = field(default_factory=dict)
    # The column that is the moment of entering unless it is said.
    now: str = ""
    # Columns that follow from others when nothing is said.
    derived: Sequence[str] = ()
    # Fields that are parts of a column that is a list, folded together.
    parts: Parts | None = None

    @property
    def model(self) -> type[Record]:
        return self.writer.model

    @property
    def resource(self) -> str:
        return self.model.resource


@dataclass(frozen=True)
class Parts:
    """A column with a list of parts, each with the same few fields."""

    column: str
    prefix: str
    names: tuple[str, ...]

    def rows(self, values: Mapping[str, Any]) -> list[dict[str, Any]]:
        numbers = sorted({int(key.removeprefix(self.prefix).split("_")[0]) for key in self._keys(values)})
        rows = [{name: values.get(f"{self.prefix}{number}_{name}") for name in self.names} for number in numbers]
        return [row for row in rows if any(value is not None for value in row.values())]

    def _keys(self, values: Iterable[str]) -> Iterator[str]:
        return (key for key in values if key.startswith(self.prefix))

    def without(self, values: Mapping[str, Any]) -> dict[str, Any]:
        return {name: value for name, value in values.items() if not name.startswith(self.prefix)}


class RecordForm(forms.Form):
    def __init__(
        self, kind: Kind, place: Place, *, data: Any = None, fixed: Mapping[str, Any] | None = None, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.kind, self.place, self.fixed = kind, place, dict(fixed or {})
        self.groups = kind.groups(place)
        for group in self.groups:
            self.fields.update(group.fields)

    def clean(self) -> dict[str, Any]:
        candidate = copy(self.place.record) if self.place.record is not None else self.kind.model(**self.fixed)
        for column, value in self._folded(self.cleaned_data).items():
            setattr(candidate, column, value)
        # What is missing is said already; a rule would only say it again in other words.
        if not self.errors:
            self.refuse(broken_anywhere(candidate))
        return self.cleaned_data

    def refuse(self, errors: Iterable[FieldError]) -> None:
        for error in errors:
            name = self._field_of(error.pointer.removeprefix("/"))
            if name not in self.errors:
                self.add_error(name, self._in_words(error.detail))

    def refuse_all(self, error: DomainError) -> None:
        self.refuse(error.errors or [FieldError("", error.code, error.detail)])

    def _field_of(self, column: str) -> str | None:
        parts = self.kind.parts
        among = [column, f"{column}_id", *([f"{parts.prefix}0_{parts.names[-1]}"] if parts else [])]
        if parts and column.split("/")[0] != parts.column:
            among = among[:-1]
        return next((name for name in among if name in self.fields), None)

    def _in_words(self, detail: str) -> str:
        """Rules name columns; people know them by their labels."""
        for name in sorted(self.fields, key=len, reverse=True):
            words = getattr(self.fields[name], "name_in_words", "") or str(self.fields[name].label)
            detail = re.sub(rf"\b{name}\b", words[:1].lower() + words[1:], detail)
        return detail[:1].upper() + detail[1:]

    def values(self) -> dict[str, Any]:
        """Columns of a new record."""
        return self._folded(self.cleaned_data) | self.fixed

    def changes(self) -> dict[str, Any]:
        """Columns that were typed over."""
        touched = set(self.changed_data)
        values = self._folded(self.cleaned_data)
        parts = self.kind.parts
        if parts and any(name.startswith(parts.prefix) for name in touched):
            touched.add(parts.column)
        return {name: value for name, value in values.items() if name in touched}

    def _folded(self, cleaned: Mapping[str, Any]) -> dict[str, Any]:
        parts = self.kind.parts
        values = parts.without(cleaned) | {parts.column: _as_kept(parts.rows(cleaned))} if parts else dict(cleaned)
        return {name: value for name, value in values.items() if value is not None or name not in self.kind.derived}

    def shown_groups(self) -> list[tuple[Group, list[forms.BoundField], bool]]:
        """Each group, its fields, and whether it is open."""
        return [(group, [self[name] for name in group.fields], self._is_open(group)) for group in self.groups]

    def _is_open(self, group: Group) -> bool:
        bound = [self[name] for name in group.fields]
        return not group.folded or any(each.errors or each.value() not in (None, "", False) for each in bound)


def _as_kept(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        {name: value.isoformat() if name == "at" and value else value for name, value in row.items()} for row in rows
    ]


def shown_text(form: RecordForm, name: str, value: Any) -> str:
    """What stands in a field for a value, in words."""
    of = form.fields[name]
    if isinstance(of, forms.ChoiceField):
        return next((str(label) for key, label in _flat(of) if str(key) == str(value or "")), "another one")
    if isinstance(of, Moment):
        return written.moment(value, of.zone.key) if value else written.NOTHING
    if isinstance(of, Written):
        return str(of.prepare_value(value) or "") or written.NOTHING
    return "yes" if value else "no"


def _flat(of: forms.ChoiceField) -> list[tuple[Any, Any]]:
    return list(of.choices)  # type: ignore[arg-type]
