"""Advice for a dryer's next batch, by what its own batches taught and by the schedule of a buyer."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from api import drying_figures
from api.describing import ID
from api.drying_figures import (
    FACTORS_SCHEMA,
    FIGURES_SCHEMA,
    NUMBER,
    SAID_SCHEMA,
    difference,
    quantity,
    schema,
)
from api.fields import TextField
from api.figures import significant
from api.filters import Parameter, Parameters
from api.forecasts import HOT, MOISTURE, OUTSIDE, WantedSerializer
from api.learned import CROP, LAST, NOT_YET, UUID_TEXT, rounded
from api.operations import Answer, Operation
from api.quantities import QueryQuantityField
from api.views import Route, outward_errors
from dryrecords.core.errors import invalid
from dryrecords.season.advice import Advice
from dryrecords.season.calibration import taught_by
from dryrecords.season.calibration_views import CalibrationView, calibration_view
from dryrecords.season.forecast import Taught
from dryrecords.settlement.selling import advice_by, terms_of_sale
from dryrecords.tenancy.rules import Limits

ENDS = ("cutoff_low_f", "cutoff_high_f", "drying_low_h", "drying_high_h")


class AdviceForNext(Route):
    def parameters(self, method: str) -> Parameters:
        return {
            **CROP,
            "moisture_in_pct": Parameter(QueryQuantityField("moisture_in_pct", limits=MOISTURE), "Needed."),
            "base_moisture_pct": Parameter(
                QueryQuantityField("base_moisture_pct", limits=MOISTURE),
                "Left out: by schedule, else by setting, else by crop.",
            ),
            "buyer": Parameter(
                TextField(),
                "By whose schedule the grain will be sold. Left out: by the only one in force, if it is one.",
            ),
            "plenum_temp_f": Parameter(QueryQuantityField("plenum_temp_f", limits=HOT), OF_THE_NEWEST),
            "ambient_temp_f": Parameter(QueryQuantityField("ambient_temp_f", limits=OUTSIDE), OF_THE_NEWEST),
            "ambient_rh_pct": Parameter(
                QueryQuantityField("ambient_rh_pct", limits=Limits(low=0, high=100)), OF_THE_NEWEST
            ),
        }

    def get(self, request: Request, id: UUID) -> Response:
        view = calibration_view(self.access, id, self.query.get("crop", ""))
        if "moisture_in_pct" not in self.query:
            raise invalid("/moisture_in_pct", "required", "Say the moisture of the grain that comes in.")
        columns = {"plenum_temp_f": "plenum_temp_c", "ambient_temp_f": "ambient_temp_c", "ambient_rh_pct": ""}
        terms = terms_of_sale(self.access, view.crop, self.query.get("buyer", ""))
        given = {column or name: self.query[name] for name, column in columns.items() if name in self.query}
        with outward_errors(WantedSerializer):
            made = advice_by(terms, view, self.query["moisture_in_pct"], self.query.get("base_moisture_pct"), given)
        return Response(
            outward_advice(view, self.query["moisture_in_pct"], made, taught_by(view.calibration))
            | {"schedule": terms.schedule and terms.schedule.pk if made.discount is terms.discount else None}
        )

    def describe(self, method: str) -> Operation:
        return Operation(
            "dryers_advice",
            "Target, cut-off and time for the next batch",
            "forecasts",
            {200: Answer("The advice; low and high are 95 % intervals.", ADVICE)},
            path=ID,
            query=self.parameters(method),
        )


OF_THE_NEWEST = "Left out: as in the newest batches."


def outward_advice(view: CalibrationView, moisture_in_pct: float, made: Advice, taught: Taught) -> dict[str, Any]:
    told = drying_figures.outward(made.forecast.figures, view.crop)
    time, time_u = told["drying_h"], told["drying_h_u"]
    cutoff, half = quantity(made.cutoff_temp_c, "f"), difference(made.cutoff_within_c, "f")
    target = made.target
    return {
        "dryer": view.dryer.pk,
        "crop": view.crop,
        "fresh": view.fresh,
        "moisture_in_pct": moisture_in_pct,
        "base_moisture_pct": made.base_moisture_pct,
        "target_moisture_pct": significant(target.moisture_pct),
        "cutoff_temp_f": cutoff,
        **_interval("cutoff", "f", cutoff, half),
        "cutoff_from": made.cutoff_from,
        "drying_h": time,
        **_interval("drying", "h", time, None if time_u is None else 1.96 * time_u),
        "spread_pct": significant(made.spread_pct),
        "discount_basis": made.discount_basis,
        "losses": {
            "unit": made.money_unit,
            "at_target": significant(target.expected_loss),
            "at_base": significant(target.expected_loss_at_base),
            "at_target_over_drying": significant(target.expected_over_drying),
            "at_target_discount": significant(target.expected_discount),
        },
        "settings": {
            "plenum_temp_f": quantity(made.settings["plenum_temp_c"], "f"),
            "ambient_temp_f": quantity(made.settings["ambient_temp_c"], "f"),
            "ambient_rh_pct": significant(made.settings["ambient_rh_pct"]),
        },
        "forecast": told,
        "calibration": drying_figures.factors(taught),
        "last": rounded(view.figures.get("last", [])),
        "model_version": made.forecast.model_version,
        "assumed": made.assumed if taught.batches else [NOT_YET, *made.assumed],
        "cautions": made.forecast.cautions,
    }


def _interval(stem: str, unit: str, middle: float | None, half: float | None) -> dict[str, float | None]:
    known = middle is not None and half is not None
    low, high = (middle - half, middle + half) if known else (None, None)
    # No batch takes less than no time.
    return {f"{stem}_low_{unit}": low if low is None or unit == "f" else max(low, 0.0), f"{stem}_high_{unit}": high}


ADVICE = schema(
    {
        "dryer": UUID_TEXT,
        "crop": {"type": "string"},
        "fresh": {"type": "boolean"},
        **dict.fromkeys(
            ("moisture_in_pct", "base_moisture_pct", "target_moisture_pct", "cutoff_temp_f", *ENDS, "drying_h"), NUMBER
        ),
        "cutoff_from": {"type": "string"},
        "spread_pct": NUMBER,
        "discount_basis": {"type": "string"},
        "schedule": {
            "type": ["string", "null"],
            "format": "uuid",
            "description": "The one by which losses are weighed.",
        },
        "losses": schema(
            {
                "unit": {"enum": ["usd_per_bu", "share_of_price"]},
                **dict.fromkeys(("at_target", "at_base", "at_target_over_drying", "at_target_discount"), NUMBER),
            }
        ),
        "settings": schema(dict.fromkeys(("plenum_temp_f", "ambient_temp_f", "ambient_rh_pct"), NUMBER)),
        "forecast": schema(FIGURES_SCHEMA),
        "calibration": schema(FACTORS_SCHEMA),
        "last": LAST,
        **SAID_SCHEMA,
    }
)
