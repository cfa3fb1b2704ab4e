"""One dryer: what it is, what its own batches taught, how they came out, and what to set for the next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from dryrecords.core.errors import Invalid
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Crop
from dryrecords.office import columns, selectors, written
from dryrecords.office.advice import AdviceForm, advice_lines
from dryrecords.office.chart import Charts
from dryrecords.office.dryer_chart import outcomes_chart
from dryrecords.office.efficiency_chart import efficiency_chart, told
from dryrecords.office.figures import Line
from dryrecords.office.pages import Page
from dryrecords.season import cautions
from dryrecords.season.calibration import taught_by
from dryrecords.season.calibration_views import CalibrationView, calibration_view
from dryrecords.season.efficiency import efficiency_of
from dryrecords.settlement.selling import terms_of_sale
from dryrecords.tenancy.access import Access

MADE_OF = (
    "diameter_m",
    "bed_area_m2",
    "bed_depth_m",
    "holding_capacity_m3",
    "burner_max_w",
    "sensor_height_m",
)
F_IN_K = 1.8


@dataclass(frozen=True)
class LeftOut:
    batch_id: str
    began: str
    reason: str


class DryerPage(Page):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        outcomes = selectors.outcomes_of(self.access, id)
        asked = request.GET.get("crop", "")
        crop = asked if asked in Crop.values else outcomes.usual_crop
        view = calibration_view(self.access, id, crop)
        zone = view.dryer.site.timezone
        efficiency = efficiency_of(self.access, view.dryer, None, crop)
        charts = Charts([outcomes_chart(outcomes.of(crop), zone), efficiency_chart(efficiency, zone)])
        if (numbers := charts.as_csv(request)) is not None:
            return numbers
        form = AdviceForm(request.GET if "moisture_in_pct" in request.GET else None, initial={"crop": crop})
        advice, refused = _advised(form, view, self.access)
        return self.show(
            "office/dryer.html",
            way="board",
            dryer=view.dryer,
            kind=view.dryer.get_type_display().lower(),
            zone=zone,
            crop=crop,
            crop_label=Crop(crop).label.lower(),
            crops=[(each, Crop(each).label.lower()) for each in outcomes.crops if each != crop],
            made_of=_made_of(view.dryer),
            view=view,
            taught=_taught(view),
            span=_span(view, zone),
            left_out=_left_out(view, outcomes, zone),
            charts=charts,
            burnt=told(efficiency, zone),
            form=form,
            advice=advice,
            refused=refused,
            cautions=advice.cautions if advice else [*cautions.FORECAST, cautions.GAS],
        )


def _advised(form: AdviceForm, view: CalibrationView, access: Access) -> tuple[Any, str]:
    """The advice, or what there was to say against giving one."""
    if not form.is_bound or not form.is_valid():
        return None, ""
    try:
        return advice_lines(view, form, terms_of_sale(access, view.crop)), ""
    except Invalid as error:
        return None, error.detail


def _made_of(dryer: Dryer) -> list[Line]:
    known = [name for name in MADE_OF if getattr(dryer, name) is not None]
    lines = [Line(columns.label(name), columns.value(name, getattr(dryer, name), "UTC")) for name in known]
    fans = [Line(f"fan for {fan.get('purpose')}", _fan(fan)) for fan in dryer.fans]
    tank = dryer.tank
    href = reverse("office:tank", args=[tank.pk]) if tank else ""
    return [*lines, *fans, Line("fuel from", tank.name if tank else written.NOTHING, href)]


def _fan(fan: dict[str, Any]) -> str:
    known = [name for name in ("power_w", "airflow_m3_s", "static_pressure_pa") if fan.get(name)]
    return ", ".join(columns.value(name, fan[name], "UTC") for name in known) or written.NOTHING


def _taught(view: CalibrationView) -> list[Line]:
    taught = taught_by(view.calibration)
    rate, airflow = taught.factors
    sd = np.sqrt(np.diag(taught.covariance)).tolist()
    offset = written.with_u(taught.cutoff_offset_c * F_IN_K, sd[2] * F_IN_K, 1)
    lines = [
        Line("Drying, against the model", f"{written.with_u(rate, rate * sd[0], 2)} times as fast"),
        Line("Air, against the record of the fans", f"{written.with_u(airflow, airflow * sd[1], 2)} times as much"),
        Line("Sensor, against the model", f"{offset} °F"),
    ]
    if taught.rmse_pct is not None:
        lines.append(Line("Cooled moisture misses the model by", f"{written.number(taught.rmse_pct, 2)} points"))
    if view.figures.get("relation"):
        lines += _relation(view.figures["relation"])
    return lines


def _relation(relation: dict[str, Any]) -> list[Line]:
    level, slope = relation["coefficients"][:2]
    sd = math.sqrt(relation["covariance"][1][1])
    at = written.quantity(relation["centre"][0], "f")
    return [
        Line(f"Stopped at {at} leaves", f"{written.number(level, 1)} %"),
        Line("Ten degrees later", f"{written.with_u(slope * 10 / F_IN_K, sd * 10 / F_IN_K, 2)} points"),
    ]


def _span(view: CalibrationView, zone: str) -> str:
    first, last = view.figures.get("first_at"), view.figures.get("last_at")
    if not first or not last:
        return ""
    return (
        f"{columns.value('at', first, zone).rsplit(',', 1)[0]} to {columns.value('at', last, zone).rsplit(',', 1)[0]}"
    )


def _left_out(view: CalibrationView, outcomes: selectors.Outcomes, zone: str) -> list[LeftOut]:
    began = {str(each.batch_id): written.moment(each.started_at, zone) for each in outcomes.all}
    rows = [*view.figures.get("left_out", [])]
    rows += [
        {"batch": each, "reason": "It is far from what its neighbours show."} for each in view.figures.get("wild", [])
    ]
    return [LeftOut(row["batch"], began[row["batch"]], row["reason"]) for row in rows if row["batch"] in began]
