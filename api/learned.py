"""What a dryer's own batches taught, and the advice for its next one."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import numpy as np
from rest_framework.request import Request
from rest_framework.response import Response

from api import drying_figures
from api.describing import ID
from api.drying_figures import (
    COVARIANCE_TERMS,
    FACTORS_SCHEMA,
    FIGURES_SCHEMA,
    NUMBER,
    SAID_SCHEMA,
    TEXTS,
    difference,
    quantity,
    schema,
)
from api.fields import ChoiceField
from api.figures import significant
from api.filters import Parameter, Parameters
from api.forecasts import HOT, MOISTURE, OUTSIDE, WantedSerializer
from api.operations import Answer, Operation
from api.quantities import QueryQuantityField
from api.rules import Limits
from api.views import Route, outward_errors
from dryrecords.core.errors import invalid
from dryrecords.core.quantities import UNITS
from dryrecords.grain.bed import MODEL_VERSION
from dryrecords.grain.dryer_fit import FARTHEST
from dryrecords.harvest.models import Crop
from dryrecords.season import cautions
from dryrecords.season.advice import Advice, advise
from dryrecords.season.calibration import taught_by
from dryrecords.season.calibration_views import CalibrationView, calibration_view
from dryrecords.season.forecast import Taught

CROP = {"crop": Parameter(ChoiceField(Crop.choices), "Left out: the crop of the dryer's newest batch.")}
# From kelvins to Fahrenheit degrees: an offset grows, a slope over them shrinks.
F = UNITS["f"].factor
FACTOR_SCALE = np.array([1.0, 1.0, 1.0 / F])
RELATION_SCALE = np.array([1.0, F, 1.0, F])
RELATION_TERMS = (
    "moisture_cooled_pct",
    "points_per_f_cutoff",
    "points_per_point_moisture_in",
    "points_per_f_ambient",
)
NOT_YET = "Nothing was learned of this crop in this dryer yet: what is expected of any dryer."
AT_ITS_END = "A factor stands at the end of what the fit allows: the bed model does not describe this dryer and crop."
HOW = (
    "Cooled moisture = moisture_cooled_pct at the centre, plus each slope times the distance from the centre. Slopes "
    "and level start from the bed model and move as far as the batches show."
)


class Calibration(Route):
    def parameters(self, method: str) -> Parameters:
        return CROP

    def get(self, request: Request, id: UUID) -> Response:
        return Response(outward_calibration(calibration_view(self.access, id, self.query.get("crop", ""))))

    def describe(self, method: str) -> Operation:
        return Operation(
            "dryers_calibration",
            "What a dryer's own batches of a crop taught",
            "forecasts",
            {200: Answer("Factors, the cut-off relation, how well both fit, and what was left out.", CALIBRATION)},
            path=ID,
            query=self.parameters(method),
        )


def outward_calibration(view: CalibrationView) -> dict[str, Any]:
    held, figures, taught = view.calibration, view.figures, taught_by(view.calibration)
    sd = np.sqrt(np.diag(taught.covariance))
    rate, airflow = taught.factors
    return {
        "dryer": view.dryer.pk,
        "crop": view.crop,
        "fresh": view.fresh,
        "computed_at": held and held.computed_at,
        "first_at": figures.get("first_at"),
        "last_at": figures.get("last_at"),
        **drying_figures.factors(taught),
        "drying_rate_u": significant(rate * float(sd[0])),
        "airflow_u": significant(airflow * float(sd[1])),
        "cutoff_offset_f_u": difference(float(sd[2]), "f"),
        "covariance": _matrix(taught.covariance, FACTOR_SCALE),
        "covariance_terms": list(COVARIANCE_TERMS),
        "relation": _relation(figures["relation"]) if figures.get("relation") else None,
        "outcomes": _rounded([figures["outcomes"]])[0] if figures else None,
        "left_out": figures.get("left_out", []),
        "wild": figures.get("wild", []),
        "last": _rounded(figures.get("last", [])),
        "error": view.error or None,
        "model_version": held.model_version if held else MODEL_VERSION,
        "assumed": _assumed(taught),
        "cautions": [cautions.ESTIMATE, cautions.HOT_SAMPLES],
    }


def _assumed(taught: Taught) -> list[str]:
    found = np.array([taught.log_drying_rate, taught.log_airflow, taught.cutoff_offset_c])
    if not taught.batches:
        return [NOT_YET]
    return [AT_ITS_END] if (np.abs(found) >= 0.999 * FARTHEST).any() else []


def _relation(relation: dict[str, Any]) -> dict[str, Any]:
    cutoff, moisture_in, ambient = relation["centre"]
    slopes = np.array(relation["coefficients"]) * RELATION_SCALE
    return {
        "batches": relation["batches"],
        "centre": {
            "cutoff_temp_f": quantity(cutoff, "f"),
            "moisture_in_pct": significant(moisture_in),
            "ambient_temp_f": quantity(ambient, "f"),
        },
        **{name: significant(slope) for name, slope in zip(RELATION_TERMS, slopes.tolist(), strict=True)},
        "covariance": _matrix(np.array(relation["covariance"]), RELATION_SCALE),
        "covariance_terms": list(RELATION_TERMS),
        "scatter_pct": significant(relation["scatter_pct"]),
        "left_out_rmse_pct": significant(relation["left_out_rmse_pct"]),
        "same_as_last_rmse_pct": significant(relation["same_as_last_rmse_pct"]),
        "how": HOW,
    }


def _matrix(covariance: np.ndarray[Any, Any], scale: np.ndarray[Any, Any]) -> list[list[float | None]]:
    return [[significant(x) for x in row] for row in (covariance * np.outer(scale, scale)).tolist()]


def _rounded(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{name: significant(x) if isinstance(x, float) else x for name, x in row.items()} for row in rows]


class AdviceForNext(Route):
    def parameters(self, method: str) -> Parameters:
        return {
            **CROP,
            "moisture_in_pct": Parameter(QueryQuantityField("moisture_in_pct", limits=MOISTURE), "Needed."),
            "base_moisture_pct": Parameter(
                QueryQuantityField("base_moisture_pct", limits=MOISTURE), "Left out: by setting, else by crop."
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
        given = {column or name: self.query[name] for name, column in columns.items() if name in self.query}
        with outward_errors(WantedSerializer):
            made = advise(
                view.dryer,
                view.crop,
                self.query["moisture_in_pct"],
                self.query.get("base_moisture_pct"),
                calibration=view.calibration,
                given=given,
            )
        return Response(outward_advice(view, self.query["moisture_in_pct"], made, taught_by(view.calibration)))

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
        "last": _rounded(view.figures.get("last", [])),
        "model_version": made.forecast.model_version,
        "assumed": made.assumed if taught.batches else [NOT_YET, *made.assumed],
        "cautions": made.forecast.cautions,
    }


def _interval(stem: str, unit: str, middle: float | None, half: float | None) -> dict[str, float | None]:
    known = middle is not None and half is not None
    low, high = (middle - half, middle + half) if known else (None, None)
    # No batch takes less than no time.
    return {f"{stem}_low_{unit}": low if low is None or unit == "f" else max(low, 0.0), f"{stem}_high_{unit}": high}


MAYBE_TEXT = {"type": ["string", "null"]}
UUID_TEXT = {"type": "string", "format": "uuid"}
MATRIX = {"type": "array", "items": {"type": "array", "items": NUMBER}}
ENDS = ("cutoff_low_f", "cutoff_high_f", "drying_low_h", "drying_high_h")
LAST = {
    "type": "array",
    "description": "The newest batches: cooled moisture, beside the base and beside what the fitted model expects.",
    "items": schema(
        {
            "batch": UUID_TEXT,
            **dict.fromkeys(("moisture_cooled_pct", "above_base_points", "above_model_points"), NUMBER),
        }
    ),
}
RELATION = schema(
    {
        "batches": {"type": "integer"},
        "centre": schema(dict.fromkeys(("cutoff_temp_f", "moisture_in_pct", "ambient_temp_f"), NUMBER)),
        **dict.fromkeys(RELATION_TERMS, NUMBER),
        "covariance": MATRIX,
        "covariance_terms": TEXTS,
        **dict.fromkeys(("scatter_pct", "left_out_rmse_pct", "same_as_last_rmse_pct"), NUMBER),
        "how": {"type": "string"},
    }
)
OUTCOMES = schema({"batches": {"type": "integer"}, "sd_pct": NUMBER, "same_as_last_rmse_pct": NUMBER})
CALIBRATION = schema(
    {
        "dryer": UUID_TEXT,
        "crop": {"type": "string"},
        "fresh": {"type": "boolean", "description": "Nothing was written since that could change it."},
        "computed_at": {"type": ["string", "null"], "format": "date-time"},
        "first_at": MAYBE_TEXT,
        "last_at": MAYBE_TEXT,
        **FACTORS_SCHEMA,
        **dict.fromkeys(("drying_rate_u", "airflow_u", "cutoff_offset_f_u"), NUMBER),
        "covariance": MATRIX,
        "covariance_terms": TEXTS,
        "relation": {"oneOf": [RELATION, {"type": "null"}]},
        "outcomes": {"oneOf": [OUTCOMES, {"type": "null"}]},
        "left_out": {"type": "array", "items": schema({"batch": UUID_TEXT, "reason": {"type": "string"}})},
        "wild": {"type": "array", "items": UUID_TEXT},
        "last": LAST,
        "error": MAYBE_TEXT,
        **SAID_SCHEMA,
    }
)
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
