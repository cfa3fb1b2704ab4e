"""Small calculators that need no record: one request, or an array of them answered as an array."""

from __future__ import annotations

from typing import Any

import numpy as np
from rest_framework.request import Request
from rest_framework.response import Response

from api import figures
from api.fields import ChoiceField, optional
from api.operations import Answer, Operation
from api.quantities import QuantityField
from api.record_serializer import StrictSerializer
from api.rules import Limits
from api.views import Route
from dryrecords.core.errors import invalid
from dryrecords.grain.batch import BatchInputs, batch_figures
from dryrecords.grain.crops import CROPS
from dryrecords.harvest.models import HIGHEST_MOISTURE_PCT, Crop
from dryrecords.season.assemble import DEFAULT_HANDLING_PCT

MOST_AT_ONCE = 10_000
MOISTURE = Limits(low=0, high=HIGHEST_MOISTURE_PCT)
TOLD = (
    "points_removed",
    "dry_mass_kg",
    "dry_matter_kg",
    "water_removed_kg",
    "wet_bu",
    "dry_bu",
    "base_bu",
    "market_bu",
    "shrink_water_pct",
    "shrink_handling_pct",
    "shrink_total_pct",
    "over_drying_points",
    "over_drying_unsold_bu",
    "under_drying_points",
)


class ShrinkSerializer(StrictSerializer):
    crop = ChoiceField(Crop.choices)
    moisture_in_pct = QuantityField(limits=MOISTURE)
    moisture_out_pct = QuantityField(limits=MOISTURE)
    wet_mass_lb = QuantityField(limits=Limits(above=0))
    handling_pct = optional(
        QuantityField,
        limits=Limits(low=0, high=10),
        help_text=f"Loss of dry matter, percent of the wet mass; {DEFAULT_HANDLING_PCT} if left out, as for batches.",
    )
    base_moisture_pct = optional(QuantityField, limits=MOISTURE, help_text="The crop's market base if left out.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        base = CROPS[attrs["crop"]].base_moisture_pct
        defaults = {"handling_pct": DEFAULT_HANDLING_PCT, "base_moisture_pct": base}
        return attrs | {name: value for name, value in defaults.items() if attrs.get(name) is None}


class Shrink(Route):
    def post(self, request: Request) -> Response:
        many = isinstance(request.data, list)
        asked = request.data if many else [request.data]
        if len(asked) > MOST_AT_ONCE:
            raise invalid("", "too_many", f"Send at most {MOST_AT_ONCE} at a time.")
        serializer = ShrinkSerializer(data=request.data, many=many)
        serializer.is_valid(raise_exception=True)
        answers = shrink(serializer.validated_data if many else [serializer.validated_data])
        return Response(answers if many else answers[0])

    def describe(self, method: str) -> Operation:
        one = {
            "type": "object",
            "properties": {
                "crop": {"type": "string"},
                **{name: {"type": "number"} for name in ("handling_pct", "base_moisture_pct")},
                **figures.schema(["moisture_in_pct", "moisture_out_pct", "wet_mass_kg", *TOLD]),
            },
        }
        one["required"] = list(one["properties"])
        either = {"oneOf": [one, {"type": "array", "items": one}]}
        asked = {"oneOf": [ShrinkSerializer, {"type": "array", "items": ShrinkSerializer, "maxItems": MOST_AT_ONCE}]}
        return Operation(
            "grain_shrink",
            "What drying takes from a mass of grain",
            "grain",
            {200: Answer("One answer for each request; null where there is none.", either)},
            problems=(400, 401, 413, 415, 422),
            body=asked,
        )


def shrink(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    column = {name: np.array([row[name] for row in rows]) for name in ShrinkSerializer.columns()}
    exact = {"wet_mass_u_kg": 0.0, "moisture_in_u_pct": 0.0, "moisture_out_u_pct": 0.0}
    values = batch_figures(BatchInputs(**column, **exact)).values if rows else {}
    return [
        ShrinkSerializer.outward([row[name] for name in ShrinkSerializer.columns()])
        | figures.outward({name: float(values[name][i]) for name in TOLD})
        for i, row in enumerate(rows)
    ]
