"""Derived figures: the result of a batch, the season of a site, the season of all sites."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from api import figures
from api.describing import ID
from api.fields import ReferenceField
from api.figures import THERM
from api.filters import Parameter, Parameters
from api.operations import Answer, Operation
from api.views import Route
from dryrecords.grain.figures import FIGURES
from dryrecords.season import aggregate
from dryrecords.season.models import BatchResult
from dryrecords.season.selectors import BatchResultView, SeasonView, batch_result, season_overview, site_season

CAUTIONS = [
    "These are records, not instructions. Set a dryer by its manual and local codes, and leave work on gas and "
    "wiring to people licensed for it.",
    "Do not enter a bin or a dryer that holds grain or is not locked out.",
    "Bushels and money here rest on your own scales and meters; what a buyer settles by is the buyer's ticket.",
]

RESULT_FIGURES = [name for figure in FIGURES for name in (figure, f"{figure}_u")]
SEASON_FIGURES = list(aggregate.figures({}))


def outward_result(view: BatchResultView) -> dict[str, Any]:
    row = view.result
    values = {name: getattr(row, name, None) for name in RESULT_FIGURES}
    told = figures.outward(values)
    gas = row is not None and row.fuel_volume_m3 is None
    return {
        "batch": view.batch.pk,
        "fresh": view.fresh,
        "computed_at": row and row.computed_at,
        "method_version": row and row.method_version,
        "complete": bool(row and row.complete),
        "missing": row.missing if row else [],
        **told,
        "base_moisture_pct": row and row.base_moisture_pct,
        "fuel_therm": THERM.outward(values["fuel_energy_j"]) if gas else None,
        "fuel_therm_u": THERM.outward(values["fuel_energy_j_u"]) if gas else None,
        "fuel_basis": (row and row.fuel_basis) or None,
        "electricity_basis": (row and row.electricity_basis) or None,
        "assumed": row.assumed if row else [],
        "warnings": row.warnings if row else [],
        "cautions": CAUTIONS,
        "error": view.error or None,
    }


def outward_season(view: SeasonView) -> dict[str, Any]:
    return {
        "site": view.site and view.site.pk,
        "name": view.site and view.site.name,
        "season": view.season,
        "batches": view.batches,
        "complete_batches": view.complete_batches,
        "fuel_metered_batches": view.fuel_metered_batches,
        "fuel_allocated_batches": view.fuel_allocated_batches,
        "fresh": view.fresh,
        "computed_at": view.computed_at,
        **figures.outward(view.figures),
        "by_dryer": [_group("dryer", key, group) for key, group in view.by_dryer.items()],
        "by_crop": [_group("crop", key, group) for key, group in view.by_crop.items()],
        "best": view.best,
        "worst": view.worst,
    }


def _group(of: str, key: str, group: dict[str, Any]) -> dict[str, Any]:
    return {of: key, "batches": group["batches"], **figures.outward(group)}


class Result(Route):
    def get(self, request: Request, id: UUID) -> Response:
        return Response(outward_result(batch_result(self.access, id)))

    def describe(self, method: str) -> Operation:
        answer = Answer("The figures, each with its standard uncertainty `_u`; null where unknown.", RESULT_SCHEMA)
        return Operation("batches_result", "Figures of a batch", "batches", {200: answer}, path=ID)


class SiteSeason(Route):
    def get(self, request: Request, id: UUID, season: int) -> Response:
        return Response(outward_season(site_season(self.access, id, season)) | {"cautions": CAUTIONS})

    def describe(self, method: str) -> Operation:
        answer = Answer("Sums and means of the season; `_u` is an upper limit.", SEASON_SCHEMA)
        return Operation("sites_season", "A season of a site", "seasons", {200: answer}, path=ID | SEASON)


class Season(Route):
    def parameters(self, method: str) -> Parameters:
        return {"customer": Parameter(ReferenceField(), "Only sites of this customer (its id).")}

    def get(self, request: Request, season: int) -> Response:
        overview = season_overview(self.access, season, self.query.get("customer"))
        sites = [outward_season(view) for view in overview.sites]
        return Response(outward_season(overview.total) | {"sites": sites, "cautions": CAUTIONS})

    def describe(self, method: str) -> Operation:
        schema = _object({**SEASON_SCHEMA["properties"], "sites": {"type": "array", "items": ONE_SITE}})
        return Operation(
            "seasons_read",
            "A season of all sites",
            "seasons",
            {200: Answer("All sites together, and each.", schema)},
            path=SEASON,
            query=self.parameters(method),
        )


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": list(properties), "properties": properties}


def _maybe(kind: str, **more: Any) -> dict[str, Any]:
    return {"type": [kind, "null"], **more}


def _list(items: Any) -> dict[str, Any]:
    return {"type": "array", "items": items}


TEXT = {"type": "string"}
UUID_TEXT = {"type": "string", "format": "uuid"}
SEASON = {"season": {"type": "integer", "minimum": 1900, "maximum": 2199}}
BASIS = {"enum": [*BatchResult.Basis.values, None]}

RESULT_SCHEMA = _object(
    {
        "batch": UUID_TEXT,
        "fresh": {"type": "boolean", "description": "Nothing was written since that could change it."},
        "computed_at": _maybe("string", format="date-time"),
        "method_version": _maybe("string"),
        "complete": {"type": "boolean"},
        "missing": _list(TEXT),
        **figures.schema(RESULT_FIGURES),
        "base_moisture_pct": _maybe("number"),
        "fuel_therm": _maybe("number"),
        "fuel_therm_u": _maybe("number"),
        "fuel_basis": BASIS,
        "electricity_basis": BASIS,
        "assumed": _list(_object({"field": TEXT, "value": {}, "basis": TEXT})),
        "warnings": _list(_object({"code": TEXT, "detail": TEXT, "batches": _list(UUID_TEXT)})),
        "cautions": _list(TEXT),
        "error": _maybe("string"),
    }
)
_GROUP = {"batches": {"type": "integer"}, **figures.schema(SEASON_FIGURES)}
ONE_SITE = _object(
    {
        "site": _maybe("string", format="uuid"),
        "name": _maybe("string"),
        "season": {"type": "integer"},
        "batches": {"type": "integer"},
        "complete_batches": {"type": "integer", "description": "Whose figures are summed here."},
        "fuel_metered_batches": {
            "type": "integer",
            "description": "Of the complete ones; the fuel of the others is allocated or estimated.",
        },
        "fuel_allocated_batches": {
            "type": "integer",
            "description": "Of the complete ones, those that have their share of what a tank gave to several.",
        },
        "fresh": {"type": "boolean"},
        "computed_at": _maybe("string", format="date-time"),
        **figures.schema(SEASON_FIGURES),
        "by_dryer": _list(_object({"dryer": UUID_TEXT, **_GROUP})),
        "by_crop": _list(_object({"crop": TEXT, **_GROUP})),
        "best": _list(UUID_TEXT),
        "worst": _list(UUID_TEXT),
    }
)
SEASON_SCHEMA = _object({**ONE_SITE["properties"], "cautions": _list(TEXT)})
