"""How the grain in a bin keeps."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from api.describing import ID
from api.drying_figures import NUMBER, TEXTS, difference, quantity, schema
from api.fields import MomentOrDayField
from api.figures import significant
from api.filters import Parameter, Parameters
from api.operations import Answer, Operation
from api.views import Route
from dryrecords.grain.crops import CROPS
from dryrecords.season import cautions
from dryrecords.season.bin_storage import HEATING_K, MODEL_VERSION, BinStorage, bin_storage

DAY_S = 86_400.0


class Storage(Route):
    def parameters(self, method: str) -> Parameters:
        text = "As it was known then. RFC 3339 with offset, or a date, which is its midnight UTC; now if left out."
        return {"at": Parameter(MomentOrDayField(), text)}

    def get(self, request: Request, id: UUID) -> Response:
        return Response(outward_storage(bin_storage(self.access, id, self.query.get("at"))))

    def describe(self, method: str) -> Operation:
        return Operation(
            "bins_storage",
            "What stands in a bin, and how much of its storage life is used",
            "bins",
            {200: Answer("Of the newest season's grain; null where nothing tells.", STORAGE)},
            path=ID,
            query=self.parameters(method),
        )


def outward_storage(of: BinStorage) -> dict[str, Any]:
    mass = of.dry_mass_kg
    return {
        "bin": of.bin.pk,
        "at": of.at,
        "crop": of.crop,
        "batches": of.batches,
        "stored_since": of.stored_since,
        "dry_mass_lb": quantity(mass, "lb"),
        "dry_bu": significant(mass / CROPS[of.crop].bushel_kg) if mass is not None and of.crop else None,
        "moisture_pct": significant(of.moisture_pct),
        "moisture_from": of.moisture_from or None,
        "grain_temp_f": quantity(of.temp_c, "f"),
        "warmed_f": difference(of.warmed_c, "f"),
        "storage_life_used": significant(of.life_used),
        "storage_left_days": None if of.life_left_s is None else significant(of.life_left_s / DAY_S),
        "safe_moisture_pct": of.safe_pct,
        "safe_moisture_winter_pct": of.safe_cool_pct,
        "safe_moisture_summer_pct": of.safe_warm_pct,
        "safe_moisture_source": of.safe_source or None,
        "cold_branch": of.branch,
        "missing": of.missing,
        "model_version": MODEL_VERSION,
        "assumed": of.assumed,
        "cautions": [*cautions.of_warming(of.warmed_c, HEATING_K), *cautions.STORAGE],
    }


TEXT = {"type": "string"}
MAYBE_TEXT = {"type": ["string", "null"]}
UUID_TEXT = {"type": "string", "format": "uuid"}
STORAGE = schema(
    {
        "bin": UUID_TEXT,
        "at": {"type": "string", "format": "date-time"},
        "crop": MAYBE_TEXT,
        "batches": {"type": "array", "items": UUID_TEXT},
        "stored_since": {"type": ["string", "null"], "format": "date-time"},
        **dict.fromkeys(("dry_mass_lb", "dry_bu", "moisture_pct"), NUMBER),
        "moisture_from": MAYBE_TEXT,
        **dict.fromkeys(("grain_temp_f", "warmed_f", "storage_life_used", "storage_left_days"), NUMBER),
        **dict.fromkeys(("safe_moisture_pct", "safe_moisture_winter_pct", "safe_moisture_summer_pct"), NUMBER),
        "safe_moisture_source": MAYBE_TEXT,
        "cold_branch": TEXT,
        "missing": TEXTS,
        "model_version": TEXT,
        "assumed": TEXTS,
        "cautions": TEXTS,
    }
)
