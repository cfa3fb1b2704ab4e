"""A yard whose batches arrive over HTTP, and what must be true of its figures however they came to be."""

from __future__ import annotations

from datetime import timedelta
from math import fsum
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db.models import F

from dryrecords.journal.models import StaleMark
from dryrecords.season import services
from dryrecords.season.models import BatchResult, SiteSeason
from tests import factories as make
from tests.faults.tree import Answer, Api, Tree
from tests.runtime.processes import wait_for
from tests.season.scene import LB, Yard, at


class BusyYard(Yard):
    """A yard with prices, a token, and batches one after another on its dryer."""

    def __init__(self, port: int) -> None:
        super().__init__()
        self.prices()
        self.api = Api(port, make.token(make.organization()))
        self._started = 0

    def _next_start(self) -> float:
        self._started += 1
        return 5.0 * self._started

    def post_batch(self) -> tuple[str, list[Answer]]:
        """A batch of 56,000 lb or some more, its wet and its cooled sample; the id, and what the server answered."""
        batch_id, start = str(uuid4()), at(self._next_start())
        batch = {
            "id": batch_id,
            "dryer": str(self.dryer.pk),
            "lot": str(self.lot.pk),
            "crop": "corn",
            "started_at": start.isoformat(),
            "drying_ended_at": (start + timedelta(hours=4)).isoformat(),
            "wet_mass_lb": 56_000 + self._started,
            "mass_basis": "scale",
        }
        sample = {"batch": batch_id, "meter": str(self.meter.pk), "taken_at": start.isoformat()}
        answers = [
            self.api.post("batches", batch),
            self.api.post("samples", sample | {"stage": "wet", "moisture_pct": 20 + self._started % 50 / 10}),
            self.api.post("samples", sample | {"stage": "cooled", "moisture_pct": 14 + self._started % 20 / 10}),
        ]
        return batch_id, answers

    def posted(self, _: Any = None) -> str:
        """The id of a new batch that was taken without complaint."""
        batch_id, answers = self.post_batch()
        assert [answer.status for answer in answers] == [201] * 3, answers
        return batch_id

    def make_batches(self, count: int) -> list[UUID]:
        """Many at once through the services, which nudges the workers as a request does."""
        rows = [{**_row(self), "started_at": (start := at(self._next_start())), **_ends(start)} for _ in range(count)]
        batches = make.harvest.batches.create_many(self.by, rows)
        samples = [
            {"batch_id": batch.pk, "stage": stage, "taken_at": batch.started_at, "moisture_pct": moisture + n % 30 / 10}
            for n, batch in enumerate(batches)
            for stage, moisture in (("wet", 20.0), ("cooled", 13.5))
        ]
        make.harvest.samples.create_many(self.by, samples)
        return [batch.pk for batch in batches]

    def wait_until_fresh(self, tree: Tree, within_s: float) -> None:
        organization_id = self.by.organization_id
        assert wait_for(lambda: services.everything_fresh(organization_id), within_s), (open_marks()[:5], tree.told())


def _row(yard: Yard) -> dict[str, Any]:
    return {"dryer_id": yard.dryer.pk, "lot_id": yard.lot.pk, "crop": "corn", "wet_mass_kg": LB(56_000)} | {
        "mass_basis": "scale"
    }


def _ends(start: Any) -> dict[str, Any]:
    return {"drying_ended_at": start + timedelta(hours=4)}


def open_marks(**which: Any) -> list[StaleMark]:
    return list(StaleMark.objects.filter(wanted__gt=F("done"), **which).order_by("-attempts"))


def derived_rows() -> list[dict[str, Any]]:
    """Every figure there is, without what says when and in which turn it was computed."""
    results = BatchResult.objects.order_by("batch_id").values()
    seasons = SiteSeason.objects.order_by("site_id", "season").values()
    leave_out = {"generation", "computed_at", "id"}
    return [{name: value for name, value in row.items() if name not in leave_out} for row in [*results, *seasons]]


def assert_computed_once_and_right(yard: BusyYard, count: int) -> None:
    """Of `count` batches: each has the one result of its newest data, and the season is their sum.

    Call when no worker runs any more: at last everything is computed anew in this process, to the same bits.
    """
    assert services.all_failures() == []
    results = list(BatchResult.objects.all())
    assert len(results) == count
    generations = dict(StaleMark.objects.filter(kind="batch").values_list("key", "done"))
    assert {str(result.batch_id): result.generation for result in results} == generations
    for result in results:
        assert result.points_removed == pytest.approx(result.moisture_in_pct - result.moisture_out_pct)
    season = SiteSeason.objects.get(site_id=yard.site.pk, season=make.SEASON)
    assert season.batches == count
    for name in ("wet_bu", "dry_bu", "water_removed_kg"):
        assert season.figures["parts"][name] == pytest.approx(fsum(getattr(r, name) for r in results), rel=1e-12)
    by_workers = derived_rows()
    assert services.rebuild() == count
    services.work_off()
    assert derived_rows() == by_workers
