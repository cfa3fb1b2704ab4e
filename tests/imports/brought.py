"""An import of the farm's, for tests that walk every route."""

from __future__ import annotations

from api.imports import taking_in
from dryrecords.harvest.models import Import
from tests.factories import Farm


def brought(farm: Farm) -> Import:
    """Taken in, one row of it refused; it has the id of the farm's sample."""
    job = taking_in.bring(farm.by, "customers", "name,reference\nA farm,1\n,2\n", taking_in.Options(), taken_up=True)
    Import.objects.filter(pk=job.pk).update(id=farm["samples"].pk)
    job = Import.objects.get(pk=farm["samples"].pk)
    taking_in.take_in(job)
    job.refresh_from_db()
    return job
