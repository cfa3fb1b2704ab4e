"""Pages on which one writes, over the invented season: a form of each sort, gaps, a held mutation, sheets."""

from __future__ import annotations

from typing import Any

from api.harvest import RESOURCES
from api.holding import hold
from api.imports import taking_in
from api.landing import Row
from dryrecords.core.errors import FieldError
from dryrecords.harvest.models import Batch, Sample
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access


def writing_paths(by: Access, batch: Batch, dryer: Any) -> dict[str, str]:
    sample = Sample.objects.filter(batch=batch).order_by("taken_at").first()
    assert sample is not None
    with scope.organization(by.organization_id):
        tried, waiting, held = _brought(by, dry_run=True), _waiting(by), _held(by, batch)
    return {
        "enter": "/office/enter",
        "new-batch": f"/office/dryers/{dryer.pk}/batches/new",
        "correct-batch": f"/office/batches/{batch.pk}/correct",
        "new-sample": f"/office/batches/{batch.pk}/samples/new",
        "correct-sample": f"/office/samples/{sample.pk}/correct",
        "readings": f"/office/batches/{batch.pk}/readings",
        "gaps": "/office/gaps",
        "held": "/office/held",
        "held-one": f"/office/held/{held}",
        "sheets": "/office/sheets",
        "sheet-tried": f"/office/sheets/{tried}",
        "sheet-waiting": f"/office/sheets/{waiting}",
    }


def _brought(by: Access, dry_run: bool) -> Any:
    text = "customer,reference\nRound Hill Farm,17\n,18\n,19\n"
    options = taking_in.Options(dry_run=dry_run)
    job = taking_in.bring(by, "customers", text, options, "farms of the north.csv", taken_up=True)
    taking_in.take_in(job)
    return job.pk


def _waiting(by: Access) -> Any:
    """For a worker that does not run here."""
    text = "customer\nRound Hill Farm\n"
    return taking_in.bring(by, "customers", text, taking_in.Options(), "one farm.csv", taken_up=True).pk


def _held(by: Access, batch: Batch) -> Any:
    samples = next(each for each in RESOURCES if each.name == "samples")
    body = {"batch": str(batch.pk), "stage": "wet", "taken_at": "2025-10-06T08:30:00-05:00", "moisture_pct": 205}
    row = Row(1)
    row.refuse([FieldError("/moisture_pct", "out_of_range", "Must be at least 0 and at most 60.")])
    return hold(by, samples, [(row, body | {"grain_temp_f": 50.5})])[1]
