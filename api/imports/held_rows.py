"""Refused rows of sheets, held where people correct them; and those that a corrected sheet has right since."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

import orjson
from django.db import transaction

from api.landing import NATURAL_KEY
from api.mutations import from_text
from api.rendering import dumps
from api.resources import Resource
from dryrecords.harvest.models import Import
from dryrecords.journal import ledger
from dryrecords.tenancy.access import Access

# Whoever has more of them to correct corrects the sheet; errors.csv has all of them.
MOST_HELD = 500
MOST_LOOKED_AT = 5000


class HeldRows:
    """Rows held from earlier sheets of one kind, by what they said where they were not refused."""

    def __init__(self, access: Access, resource: Resource, job: Import) -> None:
        self.access, self.by = access, f"import {job.file_name or job.pk}"[:200]
        names = {field.source: name for name, field in resource.serializer().fields.items()}
        # Without what a row is about it could be any other.
        self._needed = names[NATURAL_KEY[resource.name][0]]
        self._held: dict[frozenset[str], dict[bytes, list[UUID]]] = {}
        entries = ledger.kept(access.organization_id).filter(
            status=ledger.Status.HELD, resource=resource.name, payload__contains='"source":{"import":'
        )
        for entry in entries.order_by("-push_id")[:MOST_LOOKED_AT]:
            self._remember(entry.mutation_id, entry.payload, entry.problem, str(job.pk))

    def _remember(self, held_id: UUID, payload: str, problem: str, this_import: str) -> None:
        mutation = from_text(payload)
        record, errors = orjson.loads(bytes(mutation.record)), orjson.loads(problem)["errors"]
        refused = frozenset(error["pointer"].removeprefix("/record/").partition("/")[0] for error in errors)
        if mutation.source["import"] != this_import and self._needed in record and self._needed not in refused:
            self._held.setdefault(refused, {}).setdefault(_rest(record, refused), []).append(held_id)

    def settle(self, bodies: Iterable[Mapping[str, Any]]) -> None:
        """Give up those that say the same as rows that are records now, but for what was refused."""
        found = [held_id for body in bodies for held_id in self._found(body)] if self._held else []
        with transaction.atomic():
            for held_id in sorted(found):
                ledger.dismiss(self.access.organization_id, held_id, self.by)

    def _found(self, body: Mapping[str, Any]) -> list[UUID]:
        return [held_id for refused, held in self._held.items() for held_id in held.pop(_rest(body, refused), ())]


def _rest(body: Mapping[str, Any], refused: frozenset[str]) -> bytes:
    return dumps(sorted((name, value) for name, value in body.items() if name not in refused))
