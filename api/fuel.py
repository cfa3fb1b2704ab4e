"""Accounts of tanks and electricity meters, a dryer's efficiency, and whether a tank's vapour is enough."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from api.describing import ID
from api.drying_figures import quantity
from api.fields import ChoiceField, YearField
from api.figures import significant
from api.filters import Parameter, Parameters
from api.forecasts import OUTSIDE
from api.fuel_schemas import ACCOUNT, EFFICIENCY, UNIT_NAMES, VAPORISATION
from api.operations import Answer, Operation
from api.quantities import QueryQuantityField
from api.views import Route
from dryrecords.harvest.models import Crop
from dryrecords.season import cautions
from dryrecords.season.account_keys import DRYER, SITE, TANK
from dryrecords.season.account_views import ACCOUNT_ASSUMED, SUMS, AccountView, account_view
from dryrecords.season.efficiency import EFFICIENCY_ASSUMED, DriedBatch, Efficiency, dryer_efficiency
from dryrecords.season.findings import words_of
from dryrecords.season.tank_state import VAPOUR_ASSUMED, Vaporisation, tank_vaporisation
from dryrecords.tenancy.rules import Limits

SEASON = {"season": Parameter(YearField(), "Harvest year; left out, the newest one with readings.")}


class Account(Route):
    """One class for three kinds of meter; `kind` comes from the address."""

    kind = TANK

    def parameters(self, method: str) -> Parameters:
        return SEASON

    def get(self, request: Request, id: UUID) -> Response:
        return Response(outward_account(account_view(self.access, self.kind, id, self.query.get("season")), self.kind))

    def describe(self, method: str) -> Operation:
        names = {TANK: "tanks_account", DRYER: "dryers_power_account", SITE: "sites_power_account"}
        what = {TANK: "a tank", DRYER: "a dryer's electricity meter", SITE: "a site's electricity meter"}
        text = "In `unit`: gallons at 60 F, therms or kWh. drawn = allocated + other + found + unallocated."
        return Operation(
            names[self.kind],
            f"What {what[self.kind]} gave, reading by reading, and to which batches",
            "fuel",
            {200: Answer(text, ACCOUNT)},
            path=ID,
            query=self.parameters(method),
        )


def outward_account(view: AccountView, kind: str) -> dict[str, Any]:
    figures = view.figures
    unit = UNIT_NAMES[figures.get("unit", "m3" if kind == TANK else "kwh")]

    def told(value: float | None) -> float | None:
        return quantity(value, "" if unit == "kwh" else unit)

    return {
        "of": kind,
        "id": view.of.pk,
        "name": view.of.name,
        "season": view.season,
        "fuel": view.of.fuel if kind == TANK else None,
        "unit": unit,
        "fresh": view.fresh,
        "computed_at": view.account and view.account.computed_at,
        "totals": {name: told(total) for name, total in view.totals.items()},
        "intervals": [_interval(row, told) for row in figures.get("intervals", [])],
        "batches": [_share(row, told) for row in figures.get("batches", [])],
        "findings": [_finding(row, told, kind) for row in figures.get("findings", [])],
        "refused_readings": figures.get("refused", []),
        "assumed": ACCOUNT_ASSUMED,
        "cautions": list(cautions.FUEL if kind == TANK else [cautions.ESTIMATE]),
        "error": view.error or None,
    }


def _interval(row: dict[str, Any], told: Any) -> dict[str, Any]:
    return {
        "from": row["from"],
        "to": row["to"],
        **{name: told(row[name]) for name in ("drawn", "drawn_u", *SUMS[1:])},
        "batches": [
            {"batch": batch, "share_of_time": significant(share), "amount": told(amount)}
            for batch, share, amount in row["batches"]
        ],
    }


def _share(row: dict[str, Any], told: Any) -> dict[str, Any]:
    return {name: told(row[name]) for name in ("expected", "amount", "amount_u")} | {
        "batch": row["batch"],
        "basis": row["basis"],
        "whole": row["whole"],
    }


def _finding(row: dict[str, Any], told: Any, kind: str) -> dict[str, Any]:
    words = words_of(row["kind"], kind == TANK)
    return {
        "kind": row["kind"],
        "from": row["from"],
        "to": row["to"],
        "reading_at": row["reading"],
        "size": told(row["size"]),
        "size_u": told(row["size_u"]),
        "reading_off_by": told(row["reading_off"]),
        "beyond_u": significant(row["beyond_u"], 4),
        "what": words.what,
        "likely_causes": list(words.causes),
    }


class DryerEfficiency(Route):
    def parameters(self, method: str) -> Parameters:
        newest = "Left out: of the newest batch."
        return {
            "season": Parameter(YearField(), newest),
            "crop": Parameter(ChoiceField(Crop.choices), newest),
        }

    def get(self, request: Request, id: UUID) -> Response:
        found = dryer_efficiency(self.access, id, self.query.get("season"), self.query.get("crop", ""))
        return Response(outward_efficiency(found))

    def describe(self, method: str) -> Operation:
        return Operation(
            "dryers_efficiency",
            "A dryer's fuel against what its batches should have taken, and whether that changes",
            "fuel",
            {200: Answer("Ratios are fuel over expected fuel; the moving average has limits of 3 u.", EFFICIENCY)},
            path=ID,
            query=self.parameters(method),
        )


def outward_efficiency(of: Efficiency) -> dict[str, Any]:
    return {
        "dryer": of.dryer.pk,
        "season": of.season or None,
        "crop": of.crop,
        "usual_ratio": significant(of.usual_ratio),
        "usual_ratio_u": significant(of.usual_ratio_u),
        "ratio_now": significant(of.ratio_now),
        "signal": of.signal,
        "since": of.since,
        "likely_causes": list(of.causes),
        "explained_change_pct": None if of.explained is None else significant(100.0 * of.explained),
        "batches": [_dried(each) for each in of.batches],
        "assumed": EFFICIENCY_ASSUMED,
        "cautions": [cautions.ESTIMATE, cautions.FIRE, cautions.GAS],
    }


def _dried(each: DriedBatch) -> dict[str, Any]:
    told = asdict(each)
    per_lb = {
        "fuel_btu_per_lb_water": each.fuel_j_per_kg,
        "fuel_btu_per_lb_water_u": each.fuel_u_j_per_kg,
        "expected_btu_per_lb_water": each.expected_j_per_kg,
    }
    return {
        **{name: told[name] for name in ("batch", "at", "basis", "beyond")},
        **{name: quantity(value, "btu_per_lb") for name, value in per_lb.items()},
        **{name: significant(told[name]) for name in ("ratio", "ratio_u", "average", "low", "high")},
    }


class TankVaporisation(Route):
    def parameters(self, method: str) -> Parameters:
        size = Limits(above=0, high=2000)
        return {
            "air_temp_f": Parameter(
                QueryQuantityField("air_temp_f", limits=OUTSIDE), "Left out: of the newest batch on this tank."
            ),
            "level_pct": Parameter(
                QueryQuantityField("level_pct", limits=Limits(low=0, high=100)), "Left out: from the newest reading."
            ),
            "diameter_in": Parameter(
                QueryQuantityField("diameter_in", limits=size), "Outside. Left out: of common tanks, if it is near one."
            ),
            "length_in": Parameter(QueryQuantityField("length_in", limits=size), "Outside; goes with the diameter."),
        }

    def get(self, request: Request, id: UUID) -> Response:
        query = self.query
        found = tank_vaporisation(
            self.access,
            id,
            air_temp_c=query.get("air_temp_f"),
            level_pct=query.get("level_pct"),
            diameter_m=query.get("diameter_in"),
            length_m=query.get("length_in"),
        )
        return Response(outward_vaporisation(found))

    def describe(self, method: str) -> Operation:
        return Operation(
            "tanks_vaporisation",
            "What a propane tank's own vapour can feed at this level and temperature",
            "fuel",
            {200: Answer("Without a vaporiser. Null where it cannot be said.", VAPORISATION)},
            path=ID,
            query=self.parameters(method),
        )


def outward_vaporisation(of: Vaporisation) -> dict[str, Any]:
    return {
        "tank": of.tank.pk,
        "level_pct": significant(of.level_pct),
        "read_at": of.level and of.level.at,
        "air_temp_f": quantity(of.air_temp_c, "f"),
        "diameter_in": quantity(of.diameter_m, "in"),
        "length_in": quantity(of.length_m, "in"),
        "gives_btu_h": quantity(of.gives_w, "btu_h"),
        "burners_max_btu_h": quantity(of.burners_max_w, "btu_h"),
        "burning_btu_h": quantity(of.burning_w, "btu_h"),
        "vaporiser_heat_btu_h": quantity(of.vaporiser_heat_w, "btu_h"),
        "enough": of.enough,
        "missing": of.missing,
        "assumed": [*VAPOUR_ASSUMED, *of.assumed],
        "cautions": [*cautions.of_vapour(of.enough), *cautions.FUEL],
    }
