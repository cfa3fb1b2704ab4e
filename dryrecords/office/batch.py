"""One batch: settings, what happened when, readings beside the forecast, samples, result, history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from dryrecords.core import clock
from dryrecords.harvest.models import Batch, Reading, Sample
from dryrecords.office import columns, figures, selectors, written
from dryrecords.office.batch_chart import batch_chart
from dryrecords.office.batch_list import lacks
from dryrecords.office.chart import Charts
from dryrecords.office.figures import Line
from dryrecords.office.history import history, told
from dryrecords.office.pages import Page
from dryrecords.season import cautions
from dryrecords.season.course import expected_course
from dryrecords.season.models import BatchResult
from dryrecords.season.selectors import result_of

SETTINGS = (
    "plenum_temp_c",
    "cutoff_temp_c",
    "drying_limit_s",
    "cooling_s",
    "stop_reason",
    "ambient_temp_c",
    "ambient_rh_pct",
    "grain_temp_c",
    "wet_mass_kg",
    "fill_depth_m",
    "dry_mass_kg",
    "mass_basis",
    "test_weight_kg_m3",
)
GRAIN = ("moisture_in_pct", "moisture_out_pct", "points_removed", "wet_bu", "dry_bu", "base_bu", "market_bu")
ENERGY = (
    "electricity_kwh",
    "fuel_j_per_kg_water",
    "energy_j_per_kg_water",
    "thermal_efficiency_pct",
    "drying_s",
    "throughput_bu_h",
    "cost_fuel_usd",
    "cost_electricity_usd",
    "cost_usd_per_point_bu",
)
LOST = ("over_drying_total_usd", "over_drying_unsold_bu")
BASES = {"metered": "by the readings around it", "allocated": "its share of the tank", "estimated": "estimated"}


@dataclass(frozen=True)
class SampleLine:
    sample: Sample
    taken: str
    stage: str
    moisture: str
    grain_temp: str
    meter: str


class BatchPage(Page):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch = selectors.batch_with_places(self.access, id)
        view = result_of(self.access, batch)
        samples = list(
            Sample.objects.visible_to(self.access).filter(batch=batch).select_related("meter").order_by("taken_at")
        )
        readings = list(Reading.objects.visible_to(self.access).filter(batch=batch).order_by("at"))
        course = expected_course(batch, view.result)
        base = view.result.base_moisture_pct if view.result else None
        charts = Charts([batch_chart(batch, readings, samples, course, base)])
        if (numbers := charts.as_csv(request)) is not None:
            return numbers
        zone = batch.dryer.site.timezone
        names = _names(batch, samples)
        changes = history(self.access, [batch.pk, *(sample.pk for sample in samples)])
        return self.show(
            "office/batch.html",
            way="batches",
            batch=batch,
            zone=zone,
            began=written.moment(batch.started_at, zone),
            state=state(batch),
            steps=_steps(batch, zone),
            settings=_settings(batch, zone),
            refills=[_refill(each, zone) for each in batch.refills],
            samples=[sample_line(sample, zone) for sample in samples],
            course=course,
            charts=charts,
            view=view,
            lacks=lacks(view.result.missing) if view.result else "",
            result=_result(view.result, self.desk.currency, _account(batch)) if view.result else [],
            lost=_lost(view.result, self.desk.currency),
            history=[told(change, zone, names) for change in changes],
            cautions=[cautions.ESTIMATE, cautions.HOT_SAMPLES],
        )


def state(batch: Batch) -> str:
    """The last that was recorded, in words."""
    zone = batch.dryer.site.timezone
    if batch.emptied_at:
        return f"Emptied {written.moment(batch.emptied_at, zone)}."
    if batch.cooling_ended_at:
        return f"Cooled by {written.moment(batch.cooling_ended_at, zone)}."
    if batch.drying_ended_at:
        return f"Dried by {written.moment(batch.drying_ended_at, zone)}."
    return f"Drying for {written.duration((clock.now() - batch.started_at).total_seconds())}: no end is recorded."


def sample_line(sample: Sample, zone: str) -> SampleLine:
    return SampleLine(
        sample=sample,
        taken=written.moment(sample.taken_at, zone),
        stage=sample.get_stage_display().lower(),
        moisture=f"{sample.moisture_pct:g} %",
        grain_temp=written.quantity(sample.grain_temp_c, "f"),
        meter=sample.meter.name if sample.meter else written.NOTHING,
    )


def _names(batch: Batch, samples: list[Sample]) -> dict[str, str]:
    """What ids in the history are called, as far as this page knows."""
    named: list[Any] = [batch.dryer, batch.lot, batch.bin, *(sample.meter for sample in samples)]
    return {str(each.pk): each.name for each in named if each} | {str(batch.pk): columns.ITSELF}


def _steps(batch: Batch, zone: str) -> list[Line]:
    moments = [("Began", batch.started_at), ("Heat off", batch.drying_ended_at)]
    moments += [("Cooled", batch.cooling_ended_at), ("Emptied", batch.emptied_at)]
    return [Line(label, written.moment(at, zone)) for label, at in moments if at]


def _settings(batch: Batch, zone: str) -> list[Line]:
    known = [name for name in SETTINGS if getattr(batch, name) not in (None, "")]
    return [Line(columns.label(name), columns.value(name, getattr(batch, name), zone)) for name in known]


def _refill(refill: dict[str, Any], zone: str) -> str:
    mass = columns.value("mass_kg", refill["mass_kg"], zone)
    return f"{columns.value('at', refill['at'], zone)}: {mass} at {refill['moisture_pct']:g} %"


def _lost(result: BatchResult | None, currency: str) -> str:
    """Money, or bushels where there is no price; empty while neither is known."""
    values = vars(result) if result else {}
    name = next((name for name in LOST if values.get(name) is not None), "")
    return figures.told(values, name, currency) if name else ""


def _account(batch: Batch) -> str:
    tank = batch.dryer.tank
    return reverse("office:tank-season", args=[tank.pk, batch.season]) if tank else ""


def _result(result: BatchResult, currency: str, account: str) -> list[tuple[str, list[Line]]]:
    values = vars(result)
    fuel = figures.fuel_name(values)
    basis = result.fuel_basis
    accounted = account if basis in (BatchResult.Basis.METERED, BatchResult.Basis.ALLOCATED) else ""
    told_fuel = [Line(f"Fuel, {BASES[basis]}", figures.told(values, fuel), accounted)] if basis else []
    base = Line("Base moisture", f"{result.base_moisture_pct:g} %")
    groups = [
        ("Grain", [*figures.lines(values, GRAIN[:2]), base, *figures.lines(values, GRAIN[2:])]),
        ("Shrink", figures.lines(values, figures.SHRINK)),
        ("Energy", [*told_fuel, *figures.lines(values, ENERGY, currency)]),
        ("Over-drying", figures.lines(values, figures.OVER_DRYING, currency)),
    ]
    return [(title, lines) for title, lines in groups if lines]
