"""The list of resources, for whoever opens the address of the API itself."""

from __future__ import annotations

from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api import equipment, harvest, rates, schedules, tenancy
from api.operations import Answer, Operation
from api.views import Route

DERIVED = (
    ("batches/{id}/result", "Figures of a batch: shrink, fuel, cost, over-drying, each with its uncertainty."),
    ("sites/{id}/seasons/{season}", "A harvest year of a site."),
    ("seasons/{season}", "A harvest year of all sites."),
    ("dryers/{id}/forecast", "How long a batch takes, where to stop it, and what comes out."),
    ("dryers/{id}/forecast-grids", "Many forecasts in the background; answers at forecast-grids/{id}."),
    ("dryers/{id}/calibration", "What a dryer's own batches taught."),
    ("dryers/{id}/advice", "Target, cut-off and time for the next batch."),
    ("bins/{id}/storage", "What stands in a bin, and how much of its storage life is used."),
    ("statements", "Issued to customers: loads in, bushels back, charges; statements/{id}.html and .pdf to print."),
    ("schedules/{id}/quote", "What a load comes to by a schedule, and by drying it first."),
    ("schedules/{id}/table", "What a schedule says at each moisture."),
    ("audits", "Audits of a buyer's tickets: every figure recomputed, what differs as findings, a summary."),
    ("meters/comparison", "Two moisture meters, or a meter and a buyer's tickets, over a season."),
    ("grain/equilibrium", "A calculator: moisture that grain comes to in air."),
    ("grain/air", "A calculator: moist air, heated or not."),
    ("grain/airflow", "A calculator: pressure and fan power for air through a bed."),
    ("grain/storage-time", "A calculator: how long grain keeps."),
    ("grain/shrink", "A calculator: what drying takes from a mass of grain."),
)
RESOURCES = (*tenancy.RESOURCES, *equipment.RESOURCES, *harvest.RESOURCES, *schedules.RESOURCES, *rates.RESOURCES)


class Root(Route):
    authentication_classes: Any = ()
    permission_classes: Any = ()

    def get(self, request: Request) -> Response:
        path = request.path.rstrip("/")
        return Response(
            {
                "resources": [
                    {"name": each.name, "path": f"{path}/{each.name}", "description": each.description}
                    for each in RESOURCES
                ],
                "derived": [
                    {"path": f"{path}/{address}", "description": description} for address, description in DERIVED
                ],
                "schema": f"{path}/schema",
                "docs": f"{path}/docs",
            }
        )

    def describe(self, method: str) -> Operation:
        return Operation(
            "root",
            "List the resources",
            "service",
            {200: Answer("What there is.", {"type": "object"})},
            problems=(422,),
            public=True,
        )
