"""What the API's edge does for the pages: tries held mutations again, and takes sheets in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import msgspec
import orjson

from api import push
from api.imports import reports, sheets, taking_in
from api.imports.plan import Options
from api.mutations import from_text
from api.push_items import BY_NAME
from dryrecords.harvest.models import Import
from dryrecords.journal.models import Mutation
from dryrecords.office.edge import Answer, SheetOptions
from dryrecords.tenancy.access import Access


class _Held:
    def resubmit(
        self, access: Access, entry: Mutation, record: Mapping[str, Any] | None, base_version: int | None
    ) -> Answer:
        mutation = from_text(entry.payload)
        if record is not None:
            mutation.record = msgspec.Raw(orjson.dumps(record))
        mutation.base_version = base_version
        item = push.resubmit(access, entry, mutation)
        problem = item.problem or {"detail": "", "errors": []}
        errors = [(each["pointer"].removeprefix("/record").strip("/"), each["detail"]) for each in problem["errors"]]
        return Answer(item.status, problem["detail"], errors)

    def recorded(self, access: Access, entry: Mutation) -> tuple[int, Mapping[str, Any]] | None:
        resource = BY_NAME.get(entry.resource)
        if resource is None or entry.record_id is None:
            return None
        there = resource.model._default_manager.visible_to(access).filter(pk=entry.record_id).first()
        return None if there is None else (there.version, resource.serializer.outward_record(there))


class _Sheets:
    kinds = tuple(taking_in.BY_NAME)

    def fields(self, kind: str) -> list[str]:
        return [name for name, field in taking_in.BY_NAME[kind].serializer().fields.items() if not field.read_only]

    def decoded(self, raw: bytes) -> str:
        return sheets.decoded(raw)

    def bring(self, access: Access, kind: str, content: str, file_name: str, options: SheetOptions) -> Import:
        return taking_in.bring(access, kind, content, Options(**asdict(options)), file_name)

    def errors_csv(self, job: Import) -> str:
        return reports.errors_csv(job)

    def reason(self, refused: Mapping[str, Any]) -> str:
        return reports.reason(dict(refused))


HELD, SHEETS = _Held(), _Sheets()
