"""What devices brought and could not be taken over: why, from whom, what it says; corrected, or given up."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from dryrecords.core.errors import Forbidden, NotFound
from dryrecords.equipment.models import Bin, Dryer, Meter, Tank
from dryrecords.harvest.models import Batch, Lot
from dryrecords.journal import ledger
from dryrecords.journal.ledger import Status
from dryrecords.journal.models import Mutation
from dryrecords.office import payloads, selectors, written
from dryrecords.office.edge import Answer, HeldEdge
from dryrecords.office.pages import Page
from dryrecords.office.payloads import LONGEST_VALUE, Payload, payload_of
from dryrecords.tenancy.access import WRITES_EVERYTHING, Role

MOST_SHOWN = 50
DONE = {
    Status.APPLIED: "It is recorded now.",
    Status.DUPLICATE: "It had been recorded already.",
    Status.DISMISSED: "It is given up.",
}
OPS = {"create": "new", "update": "correction of a", "delete": "removal of a"}
NAMED = {"batch": Batch, "dryer": Dryer, "tank": Tank, "bin": Bin, "meter": Meter, "lot": Lot}


@dataclass(frozen=True)
class HeldLine:
    entry: Mutation
    what: str
    why: str
    by: str
    came: str
    says: list[tuple[str, str]]


@dataclass(frozen=True)
class Typed:
    """A field as it stands in the form: its name on the wire, its text, and what is wrong with it."""

    name: str
    label: str
    text: str
    error: str
    now: str
    # What an id stands for.
    named: str
    is_long: bool


class _Held(Page):
    def kept(self) -> Any:
        if self.access.role == Role.CUSTOMER:
            raise Forbidden("What devices brought is not shown to customers.")
        return ledger.kept(self.access.organization_id)

    def one(self, mutation_id: UUID) -> Mutation:
        entry: Mutation | None = self.kept().filter(mutation_id=mutation_id).first()
        if entry is None:
            raise NotFound()
        return entry

    @property
    def may_settle(self) -> bool:
        return self.access.role in WRITES_EVERYTHING

    def must_settle(self) -> None:
        if not self.may_settle:
            raise Forbidden(f"The role {self.access.role} may not settle what was held; the office may.")

    def zone(self) -> str:
        zones = {site.timezone for site in selectors.sites_visible(self.access)}
        return zones.pop() if len(zones) == 1 else selectors.UTC_NAME

    def names(self, records: Sequence[Mapping[str, Any]]) -> dict[str, str]:
        """What the ids in them are called, as far as they can be seen."""
        found: dict[str, str] = {}
        for field, model in NAMED.items():
            ids = {str(record[field]).lower() for record in records if _is_uuid(record.get(field))}
            if ids:
                rows: Any = model.objects.visible_to(self.access).filter(pk__in=ids)
                rows = rows.select_related("dryer__site") if model is Batch else rows
                found |= {str(each.pk): _name(each) for each in rows}
        return found


class HeldList(_Held):
    def get(self, request: HttpRequest) -> HttpResponse:
        status = Status.CONFLICT if request.GET.get("of") == "conflict" else Status.HELD
        found = self.kept().filter(status=status).order_by("-push_id", "mutation_id")
        entries = list(found[: MOST_SHOWN + 1])
        shown = entries[:MOST_SHOWN]
        sent = [payload_of(entry) for entry in shown]
        names, zone = self.names([each.record for each in sent if each.record]), self.zone()
        return self.show(
            "office/held.html",
            way="gaps",
            lines=[_line(*each, names, zone) for each in zip(shown, sent, strict=True)],
            is_conflict=status == Status.CONFLICT,
            is_cut=len(entries) > MOST_SHOWN,
            most=MOST_SHOWN,
            may_settle=self.may_settle,
            zone=zone,
        )


class HeldPage(_Held):
    one_transaction = False
    # Given by as_view.
    edge: HeldEdge = None  # type: ignore[assignment]

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        entry = self.one(id)
        return self._show(entry, payload_of(entry), _problem(entry))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        entry = self.one(id)
        self.must_settle()
        sent = payload_of(entry)
        record, refused = _corrected(request.POST, sent)
        if refused:
            return self._show(entry, sent, refused, request.POST, status=422)
        base = request.POST.get("base_version", "")
        version = int(base) if base.isascii() and base.isdigit() and len(base) < 10 else _version(sent)
        answer = self.edge.resubmit(self.access, entry, record, version)
        if answer.status in DONE:
            messages.success(request, DONE[Status(answer.status)])
            return HttpResponseRedirect(reverse("office:held"))
        entry = self.one(id)
        return self._show(entry, payload_of(entry), answer, request.POST, status=422)

    def _show(
        self, entry: Mutation, sent: Payload, answer: Answer, given: Mapping[str, str] | None = None, status: int = 200
    ) -> HttpResponse:
        there = self.edge.recorded(self.access, entry) if entry.status in ledger.OPEN else None
        names, zone = self.names([sent.record or {}]), self.zone()
        fields = [] if sent.record is None else _fields(sent.record, answer, given, there[1] if there else {}, names)
        return self.show(
            "office/held_one.html",
            status=status,
            way="gaps",
            line=_line(entry, sent, names, zone),
            entry=entry,
            is_open=entry.status in ledger.OPEN,
            fate=DONE.get(Status(entry.status), ""),
            answer=answer,
            others=[text for name, text in answer.errors if name not in {field.name for field in fields}],
            fields=fields,
            text=(given or {}).get("record-text", sent.text),
            version=there[0] if there and entry.status == Status.CONFLICT else None,
            may_settle=self.may_settle,
            zone=zone,
        )


class DismissHeld(_Held):
    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.one(id)
        self.must_settle()
        ledger.dismiss(self.access.organization_id, id, self.access.actor.name)
        messages.success(request, DONE[Status.DISMISSED])
        return HttpResponseRedirect(reverse("office:held"))


def _line(entry: Mutation, sent: Payload, names: Mapping[str, str], zone: str) -> HeldLine:
    problem = _problem(entry)
    says = [
        (payloads.label(name), payloads.in_words(name, value, names))
        for name, value in (sent.record or {}).items()
        if name != "id" and value is not None
    ]
    kind = written.named(sent.resource.replace("-", " ")).removesuffix("s")
    kind = {"batche": "batch", "fuel deliverie": "fuel delivery"}.get(kind, kind)
    waits = " It waits for a record that is not here yet." if entry.waiting_for else ""
    return HeldLine(
        entry=entry,
        what=f"{OPS.get(sent.op, 'unknown change of a')} {kind}",
        why=(problem.detail or "It was not said why.") + waits,
        by=f"{entry.push.actor}, {entry.push.device}" if entry.push.device else entry.push.actor,
        came=written.moment_named(entry.push.received_at, zone),
        says=says or [("as sent", sent.text[:300])],
    )


def _problem(entry: Mutation) -> Answer:
    problem = json.loads(entry.problem) if entry.problem else {}
    errors = [
        (str(each["pointer"]).removeprefix("/record").strip("/"), str(each["detail"]))
        for each in problem.get("errors", [])
    ]
    return Answer(entry.status, str(problem.get("detail", "")), errors)


def _fields(
    record: Mapping[str, Any],
    answer: Answer,
    given: Mapping[str, str] | None,
    now: Mapping[str, Any],
    names: Mapping[str, str],
) -> list[Typed]:
    """Whatever was sent, and what is said to be missing."""
    wrong: dict[str, str] = {}
    for pointer, detail in answer.errors:
        name = pointer.split("/")[0]
        wrong[name] = f"{wrong[name]} {detail}" if name in wrong else detail
    known = [name for name in record if name != "id"] + [name for name in wrong if name and name not in record]
    made = []
    for name in known:
        text = payloads.as_text(record.get(name))
        there = payloads.as_text(now.get(name)) if name in now else ""
        said = payloads.sign(name)
        made.append(
            Typed(
                name=name,
                label=f"{payloads.label(name)}, {said}" if said else payloads.label(name),
                text=given.get(f"field-{name}", text) if given is not None else text,
                error=wrong.get(name, ""),
                now=there if there != text else "",
                named=names.get(text.lower(), ""),
                is_long=isinstance(record.get(name), list | dict) or len(text) > 60,
            )
        )
    return made


def _corrected(given: Mapping[str, str], sent: Payload) -> tuple[dict[str, Any] | None, Answer | None]:
    """The record as it was typed over, or what cannot be read of it."""
    if sum(map(len, given.values())) > settings.MAX_RECORD_BYTES:
        return None, Answer(Status.HELD, "That is too long for a record.")
    if "record-text" in given:
        try:
            record = json.loads(given["record-text"])
        except (ValueError, RecursionError):
            record = None
        if not isinstance(record, dict):
            return None, Answer(Status.HELD, "The record cannot be read: it must be JSON, in braces.")
        return record, None
    record = dict(sent.record or {})
    for key, text in given.items():
        name = key.removeprefix("field-")
        if not key.startswith("field-") or len(text) > LONGEST_VALUE:
            continue
        value = payloads.from_text(name, text.strip().replace("\r\n", "\n"), record.get(name))
        if text.strip():
            record[name] = value
        elif record.get(name) is not None:
            # Of a new record it is left out; of a correction it is taken away.
            record[name] = None
    return record, None


def _version(sent: Payload) -> int | None:
    return sent.base_version if type(sent.base_version) is int else None


def _is_uuid(value: Any) -> bool:
    try:
        return bool(UUID(str(value)))
    except ValueError:
        return False


def _name(record: Any) -> str:
    if isinstance(record, Batch):
        zone = record.dryer.site.timezone
        return f"{record.get_crop_display().lower()} in {record.dryer.name}, {written.moment(record.started_at, zone)}"
    return str(record)
