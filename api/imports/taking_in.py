"""Takes sheets in: rows become records, a thousand at a time, each thousand together with how far that went."""

from __future__ import annotations

import time
from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.db import transaction

from api.holding import hold
from api.imports.held_rows import MOST_HELD, HeldRows
from api.imports.plan import Options, Plan
from api.imports.references import References
from api.imports.sheets import Sheet, read_sheet
from api.landing import CREATED, DUPLICATE, REFUSED, Landing, Reader, Row
from api.resources import Resource
from api.root import RESOURCES
from api.views import outward_error
from dryrecords.core.errors import DomainError, FieldError
from dryrecords.harvest import imports
from dryrecords.harvest.models import Import
from dryrecords.tenancy import jobs
from dryrecords.tenancy.access import Access

ROWS_AT_A_TIME = 1000
BY_NAME: dict[str, Resource] = {resource.name: resource for resource in RESOURCES}


def bring(
    access: Access, kind: str, content: str, options: Options, file_name: str = "", *, taken_up: bool = False
) -> Import:
    """Checks the sheet as a whole at once: what is unclear about it is asked before anything is written."""
    access.must_write(kind)
    sheet = read_sheet(content)
    Plan(access, BY_NAME[kind].serializer, sheet, options)
    return imports.bring(
        access,
        kind=kind,
        content=content,
        file_name=file_name,
        options=asdict(options),
        rows=len(sheet.rows),
        taken_up=taken_up,
    )


def take_in(job: Import, most_s: float = float("inf")) -> bool:
    """Works on an import that was taken up; whether it is finished."""
    if job.state not in Import.OPEN:
        return True
    until = time.monotonic() + most_s
    try:
        work = _Work(job)
    except DomainError as error:
        # The sites are others now, or the role: what was clear when the sheet was brought is not any more.
        imports.fail(job, error.detail)
        return True
    while work.turn():
        # A dry run cannot be put down and taken up: its rows are nowhere but in memory.
        if time.monotonic() > until and not work.options.dry_run:
            jobs.give_back(job)
            return False
    return True


class _Work:
    def __init__(self, job: Import) -> None:
        self.id, self.access = job.pk, jobs.access_of(job)
        self.options = Options(**job.options)
        self.resource = BY_NAME[job.kind]
        self.sheet: Sheet = read_sheet(job.content)
        self.plan = Plan(self.access, self.resource.serializer, self.sheet, self.options)
        self.reader = Reader(self.resource)
        self.landing = Landing(self.access, self.resource, key_is_unique=True)
        if self.options.dry_run:
            imports.start_again(job)
        self.rows_done = job.rows_done
        self.held_before = None if self.options.dry_run else HeldRows(self.access, self.resource, job)
        self.references = References(
            self.access, self.resource.serializer, self.plan.ways, new_ids=self.options.new_ids
        )

    def turn(self) -> bool:
        """Some rows further; False when there is nothing left to do here."""
        if self.rows_done >= len(self.sheet.rows):
            self._finish()
            return False
        with transaction.atomic():
            job = imports.locked(self.id, self.rows_done)
            if job is None:
                return False
            read = [self._read(*row) for row in self.sheet.rows[self.rows_done : self.rows_done + ROWS_AT_A_TIME]]
            rows = [row for row, _ in read]
            with transaction.atomic():
                self.landing.land(rows)
                transaction.set_rollback(self.options.dry_run)
            imports.advance(
                job,
                rows=len(rows),
                created=sum(row.status == CREATED for row in rows),
                duplicates=sum(row.status == DUPLICATE for row in rows),
                refused=[self._told(row) for row in rows if row.status == REFUSED],
            )
        if self.held_before is not None:
            # After the commit: a push locks what is held before it locks what it writes.
            self.held_before.settle(body for row, body in read if row.status == CREATED)
        self.rows_done = job.rows_done
        return True

    def _finish(self) -> None:
        """Rows that were refused are held, together with the end: a worker that was killed before does it again."""
        with transaction.atomic():
            job = imports.locked(self.id, self.rows_done)
            if job is not None:
                imports.finish(job, {} if self.options.dry_run else self._hold(job))

    def _hold(self, job: Import) -> dict[int, UUID]:
        cells_of = dict(self.sheet.rows)
        refused = []
        for told in job.refused[:MOST_HELD]:
            cells = cells_of[told["row"]]
            body, _ = self.plan.body(cells)
            self.references.put_in(body)
            row = Row(told["row"], errors=[FieldError(**error) for error in told["errors"]])
            # What could not be read is kept as it was written.
            refused.append((row, self.plan.texts(cells) | body))
        return hold(self.access, self.resource, refused, job.pk)

    def _read(self, number: int, cells: list[str]) -> tuple[Row, dict[str, Any]]:
        row = Row(number)
        body, errors = self.plan.body(cells)
        errors += self.references.put_in(body)
        if errors:
            row.refuse(errors)
        else:
            self.reader.read(row, body)
        return row, body

    def _told(self, row: Row) -> dict[str, Any]:
        errors = [outward_error(self.resource.serializer, error) for error in row.errors]
        return {"row": row.number, "errors": list(map(asdict, errors))}
