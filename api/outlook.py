"""What is left of a site's harvest: hours, fuel, and the day on which a tank runs low."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from api.describing import ID
from api.drying_figures import NUMBER, TEXTS, quantity, schema
from api.fields import ChoiceField
from api.figures import significant
from api.filters import Parameter, Parameters
from api.forecasts import MOISTURE
from api.operations import Answer, Operation
from api.quantities import QueryQuantityField
from api.views import Route
from dryrecords.core.errors import invalid
from dryrecords.harvest.models import Crop
from dryrecords.season import cautions
from dryrecords.season.outlook import DryerPart, Outlook, Range, Remaining, TankPart, site_of, site_outlook
from dryrecords.tenancy.rules import Limits


class SiteOutlook(Route):
    def parameters(self, method: str) -> Parameters:
        return {
            "crop": Parameter(ChoiceField(Crop.choices), "corn if left out."),
            "wet_bu": Parameter(QueryQuantityField("wet_bu", limits=Limits(above=0, high=1e8)), "Needed: still wet."),
            "moisture_in_pct": Parameter(QueryQuantityField("moisture_in_pct", limits=MOISTURE), "Needed."),
            "target_moisture_pct": Parameter(
                QueryQuantityField("target_moisture_pct", limits=MOISTURE), "Left out: the crop's base moisture."
            ),
            "hours_per_day": Parameter(
                QueryQuantityField("hours_per_day", limits=Limits(above=0, high=24)), "That dryers run; 24 if left out."
            ),
        }

    def get(self, request: Request, id: UUID) -> Response:
        # Before what is asked: of a site that is not there nothing is missing.
        site_of(self.access, id)
        for name in ("wet_bu", "moisture_in_pct"):
            if name not in self.query:
                raise invalid(f"/{name}", "required", "Say how much is still wet, and how wet it is.")
        remaining = Remaining(
            crop=self.query.get("crop", Crop.CORN.value),
            wet_bu=self.query["wet_bu"],
            moisture_in_pct=self.query["moisture_in_pct"],
            target_moisture_pct=self.query.get("target_moisture_pct"),
            hours_per_day=self.query.get("hours_per_day", 24.0),
        )
        return Response(outward_outlook(site_outlook(self.access, id, remaining)))

    def describe(self, method: str) -> Operation:
        return Operation(
            "sites_outlook",
            "Hours and fuel to finish what is still wet, and when tanks run low",
            "fuel",
            {200: Answer("Likely value, and low and high end of a 95 % interval. Null where nothing tells.", OUTLOOK)},
            path=ID,
            query=self.parameters(method),
        )


def outward_outlook(of: Outlook) -> dict[str, Any]:
    asked = of.remaining
    return {
        "site": of.site.pk,
        "at": of.at,
        "crop": asked.crop,
        "wet_bu": significant(asked.wet_bu),
        "moisture_in_pct": significant(asked.moisture_in_pct),
        "target_moisture_pct": significant(of.target_moisture_pct),
        "hours_per_day": significant(asked.hours_per_day),
        "water_lb": quantity(of.water_kg, "lb"),
        **_range("hours", of.hours),
        **_range("days", of.days),
        **_range("fuel_btu", of.fuel_j, "btu"),
        "dryers": [_dryer(part) for part in of.dryers],
        "tanks": [_tank(part) for part in of.tanks],
        "missing": of.missing,
        "assumed": of.assumed,
        "cautions": list(cautions.OUTLOOK),
    }


def _range(name: str, of: Range | None, unit: str = "") -> dict[str, float | None]:
    values = of or (None, None, None)
    return {f"{name}{end}": quantity(value, unit) for end, value in zip(ENDS, values, strict=True)}


ENDS = ("", "_low", "_high")


def _dryer(part: DryerPart) -> dict[str, Any]:
    return {
        "dryer": part.dryer.pk,
        "name": part.dryer.name,
        "batches": part.batches,
        "fuel_batches": part.fuel_batches,
        "wet_bu": significant(part.wet_bu),
        "throughput_bu_h": significant(part.bu_per_h),
        **_range("fuel_btu", part.fuel_j, "btu"),
    }


def _tank(part: TankPart) -> dict[str, Any]:
    gas = part.tank.fuel == "natural_gas"
    level = part.level
    return {
        "tank": part.tank.pk,
        "name": part.tank.name,
        "fuel": part.tank.fuel,
        **_range("fuel_gal", None if gas else part.fuel, "gal"),
        **_range("fuel_therm", part.fuel if gas else None, "therm"),
        "read_at": level and level.at,
        "level_gal": quantity(level.volume_m3, "gal") if level else None,
        "delivered_since_gal": quantity(level.delivered_m3, "gal") if level else None,
        "low_at": part.low_at,
        "low_earliest_at": part.low_earliest_at,
        "low_latest_at": part.low_latest_at,
    }


TEXT = {"type": "string"}
COUNT = {"type": "integer"}
MAYBE_MOMENT = {"type": ["string", "null"], "format": "date-time"}
UUID_TEXT = {"type": "string", "format": "uuid"}


def _ends(*names: str) -> dict[str, Any]:
    return {f"{name}{end}": NUMBER for name in names for end in ENDS}


OUTLOOK = schema(
    {
        "site": UUID_TEXT,
        "at": {"type": "string", "format": "date-time"},
        "crop": TEXT,
        **dict.fromkeys(("wet_bu", "moisture_in_pct", "target_moisture_pct", "hours_per_day", "water_lb"), NUMBER),
        **_ends("hours", "days", "fuel_btu"),
        "dryers": {
            "type": "array",
            "items": schema(
                {
                    "dryer": UUID_TEXT,
                    "name": TEXT,
                    "batches": {**COUNT, "description": "That its rate comes from."},
                    "fuel_batches": {**COUNT, "description": "Of these, with fuel that was read or allocated."},
                    "wet_bu": NUMBER,
                    "throughput_bu_h": NUMBER,
                    **_ends("fuel_btu"),
                }
            ),
        },
        "tanks": {
            "type": "array",
            "items": schema(
                {
                    "tank": UUID_TEXT,
                    "name": TEXT,
                    "fuel": TEXT,
                    **_ends("fuel_gal", "fuel_therm"),
                    "read_at": MAYBE_MOMENT,
                    "level_gal": NUMBER,
                    "delivered_since_gal": NUMBER,
                    "low_at": {
                        **MAYBE_MOMENT,
                        "description": "Down to 20 %; null if not before the end, or not known.",
                    },
                    "low_earliest_at": MAYBE_MOMENT,
                    "low_latest_at": MAYBE_MOMENT,
                }
            ),
        },
        "missing": TEXTS,
        "assumed": TEXTS,
        "cautions": TEXTS,
    }
)
