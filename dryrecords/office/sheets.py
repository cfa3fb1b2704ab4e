"""Spreadsheets to be taken in: what is unclear is asked, progress is told, refused rows come back as a sheet."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID
from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from dryrecords.core.errors import FieldError, Invalid, NotFound
from dryrecords.harvest import imports
from dryrecords.harvest.models import Import
from dryrecords.office import selectors, written
from dryrecords.office.edge import SheetOptions, SheetsEdge
from dryrecords.office.pages import Page

MOST_LISTED = 30
REFUSALS_SHOWN = 50
FOLLOW_S = 3
LONGEST_NAME = 200
STATES = {
    Import.State.WAITING: "waits for its turn",
    Import.State.RUNNING: "is being taken in",
    Import.State.DONE: "finished",
    Import.State.FAILED: "broke off",
}


class SheetForm(forms.Form):
    """What is asked of every sheet. The sheet itself stays in the form while questions about it are open."""

    kind = forms.ChoiceField(label="What the rows are")
    file = forms.FileField(label="The sheet, saved as CSV", required=False)
    kept = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(required=False, max_length=LONGEST_NAME, widget=forms.HiddenInput)
    dates = forms.ChoiceField(
        label="In dates like 10/6/2025",
        required=False,
        choices=[("", "the sheet shows it"), ("month_first", "the month comes first"), ("day_first", "the day first")],
    )
    decimal = forms.ChoiceField(
        label="Decimals are written",
        required=False,
        choices=[("", "the sheet shows it"), ("point", "with a point: 14.5"), ("comma", "with a comma: 14,5")],
    )
    timezone = forms.CharField(
        label="Times are those of",
        required=False,
        max_length=64,
        help_text="A name like America/Chicago; left empty, the time zone of the sites, if it is one.",
    )
    dry_run = forms.BooleanField(label="Only tell what would come of it", required=False)

    def __init__(self, kinds: Sequence[str], data: Any = None, files: Any = None) -> None:
        super().__init__(data, files, initial={"dry_run": True})
        listed = [(kind, written.named(kind.replace("-", " "))) for kind in kinds]
        self.fields["kind"].choices = [("", "—"), *listed]  # type: ignore[attr-defined]
        self.fields["file"].widget.attrs["accept"] = ".csv,text/csv,text/plain"

    def clean_timezone(self) -> str:
        name: str = self.cleaned_data["timezone"].strip()
        if name and name not in available_timezones():
            raise forms.ValidationError("There is no such time zone. One is America/Chicago.")
        return name

    def clean(self) -> dict[str, Any]:
        raw, name = self._sheet()
        if not raw and "file" not in self.errors:
            self.add_error("file", "Choose the file.")
        elif len(raw) > settings.MAX_IMPORT_BYTES:
            self.add_error("file", f"It is larger than {settings.MAX_IMPORT_BYTES // 2**20} MB. Bring it in parts.")
        return self.cleaned_data | {"raw": raw, "name": name}

    def _sheet(self) -> tuple[bytes, str]:
        """Chosen now, or kept from the time before."""
        file = self.cleaned_data.get("file")
        if file:
            return file.read(settings.MAX_IMPORT_BYTES + 1), file.name[-LONGEST_NAME:]
        try:
            return base64.b64decode(self.cleaned_data.get("kept", ""), validate=True), self.cleaned_data.get("name", "")
        except (binascii.Error, ValueError):
            return b"", ""

    def keep(self, raw: bytes) -> None:
        """In the form, so that a question can be answered without choosing the file again."""
        data: Any = self.data
        self.data = data = data.copy()
        data["kept"], data["name"] = base64.b64encode(raw).decode(), self.cleaned_data.get("name", "")

    def options(self, columns: Mapping[str, str]) -> SheetOptions:
        said = {name: self.cleaned_data[name] for name in ("dates", "decimal", "timezone", "dry_run")}
        return SheetOptions(columns=columns, **said)


@dataclass(frozen=True)
class Question:
    """A column that is not clear, and what was said about it so far."""

    number: int
    column: str
    text: str
    said: str


class _Sheets(Page):
    # Given by as_view.
    edge: SheetsEdge = None  # type: ignore[assignment]

    def one(self, import_id: UUID) -> Import:
        job = imports.imports_of(self.access).filter(pk=import_id).first()
        if job is None:
            raise NotFound()
        return job

    def kinds(self) -> list[str]:
        return [kind for kind in self.edge.kinds if self.access.may_write(kind)]

    def zone(self) -> str:
        zones = {site.timezone for site in selectors.sites_visible(self.access)}
        return zones.pop() if len(zones) == 1 else selectors.UTC_NAME


class SheetsPage(_Sheets):
    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show(SheetForm(self.kinds()), {}, [])

    def post(self, request: HttpRequest) -> HttpResponse:
        if not self.kinds():
            self.access.must_write("sheets")
        form = SheetForm(self.kinds(), request.POST, request.FILES)
        said = _said_of_columns(request.POST)
        if not form.is_valid():
            return self._show(form, said, [], status=422)
        raw = form.cleaned_data["raw"]
        try:
            content = self.edge.decoded(raw)
            options = form.options({column: field for column, field in said.items() if field != UNSAID})
            job = self.edge.bring(self.access, form.cleaned_data["kind"], content, form.cleaned_data["name"], options)
        except UnicodeDecodeError:
            form.add_error("file", "This is not a text. Save the sheet as CSV.")
            return self._show(form, said, [], status=422)
        except Invalid as error:
            return self._ask(form, said, error, raw)
        return HttpResponseRedirect(reverse("office:sheet", args=[job.pk]))

    def _ask(self, form: SheetForm, said: dict[str, str], error: Invalid, raw: bytes) -> HttpResponse:
        open_ = []
        for each in error.errors or [FieldError("", error.code, error.detail)]:
            where, _, column = each.pointer.removeprefix("/").partition("/")
            column = column.replace("~1", "/").replace("~0", "~")
            if where == "columns" and each.code != "column_missing":
                open_.append((column, each.detail))
            else:
                form.add_error(where if where in ("dates", "decimal", "timezone") else "file", each.detail)
        form.keep(raw)
        return self._show(form, said, open_, status=422)

    def _show(
        self, form: SheetForm, said: dict[str, str], open_: list[tuple[str, str]], status: int = 200
    ) -> HttpResponse:
        asked = dict(open_) | {column: "" for column in said if column not in dict(open_)}
        kind = str(form["kind"].value() or "")
        listed = imports.imports_of(self.access).defer("content", "refused").order_by("-created_at", "id")
        zone = self.zone()
        return self.show(
            "office/sheets.html",
            status=status,
            way="sheets",
            form=form if self.kinds() else None,
            faults=[(form[name], error) for name in form.errors if name != "__all__" for error in form.errors[name]],
            questions=[
                Question(number, column, text, said.get(column, UNSAID))
                for number, (column, text) in enumerate(asked.items())
            ],
            fields=self.edge.fields(kind) if kind in self.edge.kinds else [],
            unsaid=UNSAID,
            zones=sorted({site.timezone for site in selectors.sites_visible(self.access)}),
            lines=[(job, _told(job), written.moment_named(job.created_at, zone)) for job in listed[:MOST_LISTED]],
            zone=zone,
        )


class SheetPage(_Sheets):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        job = self.one(id)
        is_open = job.state in Import.OPEN
        follows = is_open and "follow" in request.GET
        zone = self.zone()
        response = self.show(
            "office/sheet.html",
            way="sheets",
            job=job,
            kind=written.named(job.kind.replace("-", " ")),
            is_open=is_open,
            follows=follows,
            state=_told(job),
            dry_run=job.options["dry_run"],
            refused=len(job.refused),
            refusals=[(each["row"], self.edge.reason(each)) for each in job.refused[:REFUSALS_SHOWN]],
            most=REFUSALS_SHOWN,
            may_take_in=self.access.may_write(job.kind),
            came=written.moment_named(job.created_at, zone),
            zone=zone,
        )
        if follows:
            # Asked for by the person who looks: a page that comes anew by itself is nothing for a screen reader.
            response["Refresh"] = str(FOLLOW_S)
        return response


class TakeIn(_Sheets):
    """After a dry run: the same sheet with the same answers, for good."""

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        job = self.one(id)
        self.access.must_write(job.kind)
        said = {name: job.options[name] for name in ("dates", "decimal", "timezone", "columns")}
        taken = self.edge.bring(self.access, job.kind, job.content, job.file_name, SheetOptions(**said))
        return HttpResponseRedirect(reverse("office:sheet", args=[taken.pk]))


class SheetErrors(_Sheets):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return HttpResponse(
            self.edge.errors_csv(self.one(id)),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="errors.csv"'},
        )


UNSAID = "?"


def _said_of_columns(given: Any) -> dict[str, str]:
    """Columns and the fields they were said to be; blank leaves a column out."""
    columns, fields = given.getlist("column"), given.getlist("column-is")
    return dict(zip(columns, fields, strict=False))


def _told(job: Import) -> str:
    what = STATES[Import.State(job.state)]
    if job.state in Import.OPEN:
        return f"{what}: {job.rows_done:,} of {written.counted(job.rows, 'row')}"
    would = "would be new" if job.options["dry_run"] else "new"
    return f"{what}: {job.created:,} {would}, {job.duplicates:,} there already, of {written.counted(job.rows, 'row')}"
