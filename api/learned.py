"""What a dryer's own batches taught."""

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
from api.operations import Answer, Operation
from api.views import Route
from dryrecords.core.quantities import UNITS
from dryrecords.grain.bed import MODEL_VERSION
from dryrecords.grain.dryer_fit import FARTHEST
from dryrecords.harvest.models import Crop
from dryrecords.season import cautions
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
        "outcomes": rounded([figures["outcomes"]])[0] if figures else None,
        "left_out": figures.get("left_out", []),
        "wild": figures.get("wild", []),
        "last": rounded(figures.get("last", [])),
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


def rounded(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{name: significant(x) if isinstance(x, float) else x for name, x in row.items()} for row in rows]


MAYBE_TEXT = {"type": ["string", "null"]}
UUID_TEXT = {"type": "string", "format": "uuid"}
MATRIX = {"type": "array", "items": {"type": "array", "items": NUMBER}}
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
