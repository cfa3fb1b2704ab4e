"""Pages with a form: a new record, a correction, a removal and its taking back. All writes are the services'."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.forms import BoundField
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from dryrecords.core import clock
from dryrecords.core.errors import Conflict, DomainError, Invalid, NotFound, VersionMismatch
from dryrecords.core.ids import new_id
from dryrecords.journal.models import Change
from dryrecords.office import written
from dryrecords.office.pages import Page
from dryrecords.office.places import name_of, parent_named, parent_of, place_of, way_back
from dryrecords.office.record_form import Kind, RecordForm, shown_text
from dryrecords.office.yard import values_of
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import get

SENT_BEFORE = (
    "This form was sent before, and made a record. What is different now has not been saved:"
    " correct that record instead."
)


class RecordPage(Page):
    # Given by as_view.
    kind: Kind = None  # type: ignore[assignment]

    def show_form(self, form: RecordForm, status: int = 200, **context: Any) -> HttpResponse:
        groups = form.shown_groups()
        return self.show(
            "office/record_form.html",
            status=status,
            way="enter",
            kind=self.kind,
            form=form,
            groups=groups,
            faults=[(bound, error) for _, fields, _ in groups for bound in fields for error in bound.errors],
            zone=form.place.zone.key,
            **context,
        )

    def done(self, what: str, to: str) -> HttpResponse:
        messages.success(self.request, f"The {self.kind.one} is {what}.")
        return HttpResponseRedirect(to)


class New(RecordPage):
    # The kind of record it is entered below; blank for what is the organization's.
    below: str = ""

    def get(self, request: HttpRequest, id: UUID | None = None) -> HttpResponse:
        parent = self._parent(id)
        form = self._form(parent, initial=self._beginning(request))
        return self._show(form, parent, str(new_id()))

    def post(self, request: HttpRequest, id: UUID | None = None) -> HttpResponse:
        parent = self._parent(id)
        form = self._form(parent, data=request.POST)
        record_id = _uuid(request.POST.get("id", "")) or new_id()
        if form.is_valid():
            values = {**form.values(), "id": record_id}
            try:
                record = self.kind.writer.create(self.access, values)
                return self.done("recorded", way_back(self.kind, parent, record))
            except (Conflict, Invalid) as error:
                if error.code == "id_taken":
                    return self._again(form, parent, values)
                form.refuse_all(error)
        return self._show(form, parent, str(record_id), status=422)

    def _parent(self, parent_id: UUID | None) -> Any:
        parent = parent_named(self.access, self.below, parent_id)
        self.access.must_write(self.kind.resource)
        return parent

    def _form(self, parent: Any, **options: Any) -> RecordForm:
        fixed = {self.kind.parents[self.below]: parent.pk} if parent is not None else {}
        return RecordForm(self.kind, place_of(self.access, parent), fixed=fixed, **options)

    def _beginning(self, request: HttpRequest) -> dict[str, Any]:
        """What is usual, and what the link that led here says."""
        asked = {name: value for name, value in request.GET.items() if len(value) <= 100 and "\x00" not in value}
        return {**self.kind.defaults, **({self.kind.now: clock.now()} if self.kind.now else {}), **asked}

    def _again(self, form: RecordForm, parent: Any, values: dict[str, Any]) -> HttpResponse:
        """Sent twice: the same gives the same answer, another content is not lost without a word."""
        there = self.kind.model._default_manager.visible_to(self.access).filter(pk=values["id"]).first()
        if there is not None and all(getattr(there, name) == value for name, value in values.items()):
            return self.done("recorded", way_back(self.kind, parent, there))
        form.add_error(None, SENT_BEFORE)
        made = reverse(f"office:correct-{self.kind.resource}", args=[there.pk]) if there is not None else ""
        return self._show(form, parent, str(new_id() if there is None else values["id"]), status=409, made=made)

    def _show(self, form: RecordForm, parent: Any, record_id: str, status: int = 200, made: str = "") -> HttpResponse:
        return self.show_form(
            form,
            status,
            title=f"New {self.kind.one}",
            of=name_of(parent),
            record_id=record_id,
            back=way_back(self.kind, parent),
            made=made,
        )


class Correct(RecordPage):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        record = self._writable(id)
        return self._show(self._form(record, record), record)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        record = self._writable(id)
        version = _whole(request.POST.get("version", ""))
        shown = self._as_shown(record, version)
        form = self._form(record, shown, data=request.POST)
        if version != record.version:
            return self._meanwhile(record, shown, request)
        if not form.is_valid():
            return self._show(form, record, status=422)
        try:
            self.kind.writer.correct(self.access, id, form.changes(), version=version)
        except VersionMismatch:
            # Between our look and the lock.
            return self._meanwhile(self._writable(id), shown, request)
        except (Conflict, Invalid) as error:
            form.refuse_all(error)
            return self._show(form, record, status=422)
        return self.done(
            "corrected", way_back(self.kind, parent_of(self.access, self.kind, self._writable(id)), record)
        )

    def _writable(self, record_id: UUID) -> Any:
        """Not there goes before not allowed: who may not see a record does not learn that it is there."""
        record = get(self.access, self.kind.model, record_id)
        self.access.must_write(self.kind.resource)
        return record

    def _form(self, record: Any, shown: Any, **options: Any) -> RecordForm:
        parent = parent_of(self.access, self.kind, record)
        return RecordForm(self.kind, place_of(self.access, parent, record), initial=values_of(shown), **options)

    def _as_shown(self, record: Any, version: int | None) -> Any:
        """The record as it was when the form was opened; as it is now where that is not known."""
        if version == record.version or version is None:
            return record
        then = Change.objects.filter(
            organization_id=self.access.organization_id, record_id=record.pk, version=version, after__isnull=False
        ).first()
        if then is None or not then.after:
            return record
        columns = {column.attname: column for column in self.kind.model._meta.concrete_fields}
        return self.kind.model(
            **{name: columns[name].to_python(value) for name, value in then.after.items() if name in columns}
        )

    def _meanwhile(self, record: Any, shown: Any, request: HttpRequest) -> HttpResponse:
        """Nothing is saved: what the person changed stands in the fields, what somebody else did beside them."""
        typed = self._form(record, shown, data=request.POST)
        mine = set(typed.changed_data)
        now, then = values_of(record), values_of(shown)
        data = request.POST.copy()
        fresh = self._form(record, record)
        others = [name for name in fresh.fields if now.get(name) != then.get(name)]
        for name in others:
            if name not in mine:
                _put(data, fresh[name])
        form = self._form(record, record, data=data)
        form.full_clean()
        for name in others:
            text = shown_text(form, name, now.get(name))
            setattr(form.fields[name], "meanwhile", text)  # noqa: B010
        changes = Change.objects.filter(organization_id=self.access.organization_id, record_id=record.pk)
        last = changes.order_by("-number").first()
        by = f"{last.actor}, {written.moment(last.changed_at, form.place.zone.key)}" if last else ""
        return self._show(form, record, status=409, meanwhile=by or "somebody else")

    def _show(self, form: RecordForm, record: Any, status: int = 200, meanwhile: str = "") -> HttpResponse:
        parent = parent_of(self.access, self.kind, record)
        return self.show_form(
            form,
            status,
            title=f"Correct the {self.kind.one}",
            of=name_of(parent) if self.kind.resource != "batches" else name_of(record),
            version=record.version,
            back=way_back(self.kind, parent, record),
            remove=reverse(f"office:remove-{self.kind.resource}", args=[record.pk]),
            meanwhile=meanwhile,
        )


class Remove(RecordPage):
    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        get(self.access, self.kind.model, id)
        self.access.must_write(self.kind.resource)
        self.kind.writer.remove(self.access, id, version=_whole(request.POST.get("version", "")))
        return HttpResponseRedirect(reverse(f"office:restore-{self.kind.resource}", args=[id]))


class Restore(RecordPage):
    """Says that it is gone, and takes it back."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        record = self._any(id)
        return self.show(
            "office/removed.html", way="enter", kind=self.kind, record=record, back=self._back(record), problem=""
        )

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        record = self._any(id)
        try:
            record = self.kind.writer.restore(self.access, id)
        except DomainError as error:
            context = {"kind": self.kind, "record": record, "back": self._back(record), "problem": error.detail}
            return self.show("office/removed.html", status=409, way="enter", **context)
        return self.done("back", self._back(record))

    def _any(self, record_id: UUID) -> Any:
        record = self.kind.model._default_manager.ever_visible_to(self.access).filter(pk=record_id).first()
        if record is None:
            raise NotFound()
        self.access.must_write(self.kind.resource)
        return record

    def _back(self, record: Record) -> str:
        try:
            parent = parent_of(self.access, self.kind, record)
        except NotFound:
            return reverse("office:enter")
        return way_back(self.kind, parent, record if record.deleted_at is None else None)


def _put(data: Any, bound: BoundField) -> None:
    """The value of a field into what was sent, as the browser would have."""
    value = bound.value()
    if value is True:
        data[bound.name] = "on"
    elif value is False:
        data.pop(bound.name, None)
    else:
        text, _, which = str(value if value is not None else "").partition("~")
        data[bound.name] = text
        data[f"{bound.name}-which"] = which


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
