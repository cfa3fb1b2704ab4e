"""Forecasts of a batch in a dryer: one at once, and grids of many in the background."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework import status
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from api import drying_figures
from api.describing import ID
from api.drying_figures import FACTORS_SCHEMA, FIGURES_SCHEMA, NUMBER, SAID_SCHEMA, TEXTS, schema
from api.fields import ChoiceField, optional
from api.operations import Answer, Operation
from api.quantities import QuantityField
from api.record_serializer import StrictSerializer
from api.views import Route, outward_errors
from dryrecords.grain.bed import MODEL_VERSION
from dryrecords.harvest.models import HIGHEST_MOISTURE_PCT, Crop
from dryrecords.season import cautions
from dryrecords.season.calibration import calibration_of, taught_by
from dryrecords.season.calibration_views import dryer_of
from dryrecords.season.forecast import IN_BIN, IN_DRYER, Wanted, forecast
from dryrecords.season.grids import MOST_FORECASTS, grid_ask, grid_error, grid_get
from dryrecords.season.models import ForecastGrid
from dryrecords.tenancy.rules import Limits

MOISTURE = Limits(low=1, high=HIGHEST_MOISTURE_PCT)
OUTSIDE = Limits(low=-60, high=130)
# Where the model ends: 150 deg C.
HOT = Limits(low=-40, high=300)


class ListedField(QuantityField):
    """A number, or several of which each is wanted."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, list):
            return super().to_internal_value(data)
        if not 1 <= len(data) <= MOST_FORECASTS:
            raise ValidationError(f"Give 1 to {MOST_FORECASTS} of them.", code="too_many")
        return [self._one(place, each) for place, each in enumerate(data)]

    def _one(self, place: int, data: Any) -> float:
        try:
            return super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({place: error.detail}) from error


def wanted_fields(number: type[QuantityField]) -> dict[str, Any]:
    return {
        "crop": ChoiceField(Crop.choices),
        "moisture_in_pct": number(limits=MOISTURE),
        "target_moisture_pct": number(limits=MOISTURE, help_text="After cooling."),
        "plenum_temp_f": number(limits=HOT),
        "ambient_temp_f": number(limits=OUTSIDE),
        "ambient_rh_pct": optional(number, limits=Limits(low=0, high=100), help_text="65 if left out."),
        "grain_temp_f": optional(number, limits=OUTSIDE, help_text="As it is put in; the ambient one if left out."),
        "bed_depth_ft": optional(number, limits=Limits(above=0, high=100), help_text="Or the mass; else the record's."),
        "wet_mass_lb": optional(number, limits=Limits(above=0, high=1e8)),
        "airflow_cfm": optional(
            number, limits=Limits(above=0, high=1e7), help_text="Of ambient air; left out, what the fans can move."
        ),
        "cooling": optional(
            ChoiceField, [IN_BIN, IN_DRYER], help_text="Left out: in the bin, and for in-bin dryers in the dryer."
        ),
        "cooled_to_f": optional(number, limits=OUTSIDE),
    }


class WantedSerializer(StrictSerializer):
    def get_fields(self) -> dict[str, Any]:
        return wanted_fields(QuantityField)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("bed_depth_m") is not None and attrs.get("wet_mass_kg") is not None:
            text = "Give bed_depth_ft or wet_mass_lb, not both."
            raise ValidationError({"wet_mass_lb": [ErrorDetail(text, code="one_figure")]})
        return attrs


class WantedGridSerializer(WantedSerializer):
    def get_fields(self) -> dict[str, Any]:
        return wanted_fields(ListedField)


class Forecast(Route):
    def post(self, request: Request, id: UUID) -> Response:
        dryer = dryer_of(self.access, id)
        serializer = WantedSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        wanted = Wanted(**serializer.validated_data)
        with outward_errors(WantedSerializer):
            made = forecast(dryer, wanted, taught_by(calibration_of(dryer.organization_id, dryer.pk, wanted.crop)))
        return Response(
            {
                "dryer": dryer.pk,
                "crop": wanted.crop,
                **drying_figures.outward(made.figures, wanted.crop),
                "curve": drying_figures.curve(made.curve),
                "calibration": drying_figures.factors(made.taught),
                "model_version": made.model_version,
                "assumed": made.assumed,
                "cautions": made.cautions,
            }
        )

    def describe(self, method: str) -> Operation:
        return Operation(
            "dryers_forecast",
            "Forecast of a batch: how long, where to stop, what comes out",
            "forecasts",
            {200: Answer("The forecast, each uncertain figure with its standard uncertainty `_u`.", FORECAST_SCHEMA)},
            problems=(400, 401, 404, 413, 415, 422),
            path=ID,
            body=WantedSerializer,
        )


class AskGrid(Route):
    def post(self, request: Request, id: UUID) -> Response:
        dryer_of(self.access, id)
        serializer = WantedGridSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        with outward_errors(WantedGridSerializer):
            grid = grid_ask(self.access, id, serializer.validated_data)
        location = reverse("forecast-grid", args=[grid.pk])
        return Response(outward_grid(grid), status=status.HTTP_202_ACCEPTED, headers={"Location": location})

    def describe(self, method: str) -> Operation:
        return Operation(
            "dryers_forecast_grids",
            f"Every combination of the values given as lists, up to {MOST_FORECASTS}, in the background",
            "forecasts",
            {202: Answer("Asked; look for the answers at the Location.", GRID_SCHEMA, ("Location",))},
            problems=(400, 401, 404, 409, 413, 415, 422),
            path=ID,
            body=WantedGridSerializer,
        )


class Grid(Route):
    def get(self, request: Request, id: UUID) -> Response:
        return Response(outward_grid(grid_get(self.access, id)))

    def describe(self, method: str) -> Operation:
        return Operation(
            "forecast_grids_read",
            "Progress and answers of a grid of forecasts",
            "forecasts",
            {200: Answer("The answers so far, in the order of the lists, the last one fastest.", GRID_SCHEMA)},
            path=ID,
        )


def outward_grid(grid: ForecastGrid) -> dict[str, Any]:
    done, all_of_them = len(grid.answers), len(grid.wanted)
    heat = dict.fromkeys(each for answer in grid.answers for each in answer["cautions"])
    return {
        "id": grid.pk,
        "dryer": grid.dryer_id,
        "asked_at": grid.asked_at,
        "status": "done" if done == all_of_them else "computing" if done else "waiting",
        "progress": done / all_of_them,
        "forecasts": all_of_them,
        "answers": [_answer(*pair) for pair in zip(grid.wanted, grid.answers, strict=False)],
        "error": grid_error(grid) or None,
        "model_version": MODEL_VERSION,
        "cautions": list(dict.fromkeys([*cautions.FORECAST, *heat])),
    }


def _answer(wanted: dict[str, Any], answer: dict[str, Any]) -> dict[str, Any]:
    asked = WantedSerializer.outward([wanted.get(column) for column in WantedSerializer.columns()])
    return {
        "asked": asked,
        **drying_figures.outward(answer["figures"], wanted["crop"]),
        "assumed": answer["assumed"],
        "error": answer["error"] or None,
    }


CURVE_SCHEMA = {
    "type": "array",
    "items": schema(dict.fromkeys(("min", "moisture_pct", "grain_temp_f", "exhaust_temp_f", "depth_ft"), NUMBER)),
}
TEXT = {"type": "string"}
UUID_TEXT = {"type": "string", "format": "uuid"}
FORECAST_SCHEMA = schema(
    {
        "dryer": UUID_TEXT,
        "crop": TEXT,
        **FIGURES_SCHEMA,
        "curve": CURVE_SCHEMA,
        "calibration": schema(FACTORS_SCHEMA),
        **SAID_SCHEMA,
    }
)
GRID_SCHEMA = schema(
    {
        "id": UUID_TEXT,
        "dryer": UUID_TEXT,
        "asked_at": {"type": "string", "format": "date-time"},
        "status": {"enum": ["waiting", "computing", "done"]},
        "progress": {"type": "number", "minimum": 0, "maximum": 1},
        "forecasts": {"type": "integer"},
        "answers": {
            "type": "array",
            "items": schema(
                {"asked": {"type": "object"}, **FIGURES_SCHEMA, "assumed": TEXTS, "error": {"type": ["string", "null"]}}
            ),
        },
        "error": {"type": ["string", "null"]},
        "model_version": TEXT,
        "cautions": TEXTS,
    }
)
