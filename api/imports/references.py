"""References as people write them: an id, the name of a dryer, the start of a batch; the site tells two names apart."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid5

from api.fields import ReferenceField
from api.imports.cells import Unreadable, Ways, moment
from api.record_serializer import RecordSerializer
from dryrecords.core.errors import FieldError
from dryrecords.equipment.models import Bin, Dryer, Meter, Tank
from dryrecords.harvest.models import Batch, Lot, Ticket
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Customer, Site
from dryrecords.tenancy.records import Record

# What else a row may say of something it names, and the column that has it.
NARROWED_BY: dict[type[Record], dict[str, str]] = {
    Customer: {},
    Site: {"customer": "customer_id"},
    Tank: {"site": "site_id"},
    Dryer: {"site": "site_id"},
    Bin: {"site": "site_id"},
    Meter: {},
    Lot: {"customer": "customer_id", "crop": "crop", "season": "season"},
    Batch: {"dryer": "dryer_id"},
    Ticket: {},
}
NAMED_BY: dict[type[Record], str] = {Batch: "started_at", Ticket: "number"}
BY_FIELD: dict[str, type[Record]] = {model.__name__.lower(): model for model in NARROWED_BY}
# Parents first: what is found narrows what comes after it.
IN_ORDER = list(BY_FIELD)
# A reading is of one of the two; a dryer's site only tells which dryer is meant.
ONLY_NARROWS = {"power-readings": ("dryer", "site")}

Candidates = dict[str, list[Mapping[str, Any]]]


class References:
    """Finds what rows refer to among what the asker sees: one query for each kind of record that is named."""

    def __init__(self, access: Access, kind: type[RecordSerializer], ways: Ways, new_ids: bool) -> None:
        self.access, self.ways, self.new_ids = access, ways, new_ids
        self.resource = kind.model.resource
        self.own = {name for name, field in kind().fields.items() if isinstance(field, ReferenceField)}
        self._named: dict[type[Record], Candidates] = {}

    def put_in(self, body: dict[str, Any]) -> list[FieldError]:
        """Replace names in a body by ids, and take out what only narrows."""
        errors, found = [], {}
        for name in IN_ORDER:
            if name not in body:
                continue
            try:
                found[name] = self._find(name, str(body[name]).strip(), body | found)
            except Unreadable as error:
                errors.append(FieldError(f"/{name}", error.code, error.detail))
        for name, record_id in found.items():
            body[name] = str(record_id)
        for name in [name for name in BY_FIELD if name in body and name not in self.own]:
            del body[name]
        narrowed, narrows = ONLY_NARROWS.get(self.resource, ("", ""))
        if narrowed in body and narrows in body:
            del body[narrows]
        if self.new_ids and "id" in body:
            body["id"] = str(self._new_id(body["id"]))
        return errors

    def _new_id(self, text: str) -> Any:
        given = _uuid(text)
        return text if given is None else uuid5(self.access.organization_id, str(given))

    def _find(self, name: str, text: str, said: Mapping[str, Any]) -> Any:
        if given := _uuid(text):
            return self._new_id(text) if self.new_ids else given
        model = BY_FIELD[name]
        candidates = self._candidates(model).get(self._start(text) if model is Batch else text.casefold(), [])
        for narrowing, column in NARROWED_BY[model].items():
            # A column that is there for nothing else has to fit; what is a field of the row may be another matter.
            if narrowing in said and (len(candidates) > 1 or (narrowing in BY_FIELD and narrowing not in self.own)):
                candidates = [each for each in candidates if str(each[column]) == str(said[narrowing])]
        if not candidates:
            raise Unreadable("unknown_reference", f"There is no {name} {text!r}.")
        if len(candidates) > 1:
            by = " or ".join(NARROWED_BY[model]) or "the id"
            raise Unreadable("several_of_that_name", f"{len(candidates)} of {name} are {text!r}: say {by} as well.")
        return candidates[0]["id"]

    def _start(self, text: str) -> str:
        start = moment(text, self.ways, day_is_enough=False)
        return datetime.fromisoformat(start).astimezone(UTC).isoformat()

    def _candidates(self, model: type[Record]) -> Candidates:
        if model not in self._named:
            named_by = NAMED_BY.get(model, "name")
            rows = model._default_manager.visible_to(self.access).values("id", named_by, *NARROWED_BY[model].values())
            held: Candidates = {}
            for row in rows:
                value = row[named_by]
                key = value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value.strip().casefold()
                held.setdefault(key, []).append(row)
            self._named[model] = held
        return self._named[model]


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None
