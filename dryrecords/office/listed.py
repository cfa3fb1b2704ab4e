"""The newest of a kind below one record, each with the way to correct it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from dryrecords.office import written
from dryrecords.office.entering import RecordPage
from dryrecords.office.places import name_of, parent_named, place_of
from dryrecords.office.record_form import RecordForm, shown_text
from dryrecords.office.yard import values_of

MOST_LISTED = 60


class Listed(RecordPage):
    below: str = ""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        parent = parent_named(self.access, self.below, id)
        column = self.kind.parents[self.below]
        order = f"-{self.kind.model.listed_by}"
        found = self.kind.model._default_manager.visible_to(self.access).filter(**{column: id}).order_by(order, "-id")
        form = RecordForm(self.kind, place_of(self.access, parent))
        page = list(found[: MOST_LISTED + 1])
        return self.show(
            "office/listed.html",
            way="enter",
            kind=self.kind,
            of=name_of(parent),
            lines=[(each, _told(form, each)) for each in page[:MOST_LISTED]],
            is_cut=len(page) > MOST_LISTED,
            most=MOST_LISTED,
            zone=form.place.zone.key,
            new=reverse(f"office:new-{self.below}-{self.kind.resource}", args=[id]),
            correct=f"office:correct-{self.kind.resource}",
            may_write=self.access.may_write(self.kind.resource),
        )


def _told(form: RecordForm, record: Any) -> list[tuple[str, str]]:
    """What the record says, with labels; fields of which nothing is known are left out."""
    values = values_of(record)
    known = [name for name in form.fields if values.get(name) not in (None, "", False)]
    lines: list[tuple[str, str]] = []
    for name in known:
        if name == form.kind.model.listed_by:
            lines.insert(0, ("", written.moment(values[name], form.place.zone.key)))
        else:
            label, _, unit = str(form.fields[name].label).partition(", ")
            text = shown_text(form, name, values[name])
            lines.append((label, f"{text} {unit}".strip() if values[name] is not True else text))
    return lines
