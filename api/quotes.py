"""What a schedule makes of a load, beside drying it first; and the schedule's own table."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.csv_lists import csv_is_wanted
from api.describing import ID
from api.drying_figures import TEXTS, schema
from api.fields import ExactField, optional
from api.filters import FORMAT, Parameters
from api.operations import Answer, Operation
from api.record_serializer import StrictSerializer
from api.views import Route
from dryrecords.core.errors import invalid
from dryrecords.harvest.models import Ticket
from dryrecords.season import cautions
from dryrecords.settlement.models import Schedule
from dryrecords.settlement.rules import TableRow, canonical, rules_of, table
from dryrecords.settlement.selectors import Quote, bushel_lb, quote
from dryrecords.settlement.wet_or_dry import WetOrDry
from dryrecords.tenancy.writes import get

SETTLED = (
    "wet_bu",
    "moisture_used_pct",
    "shrink_pct",
    "shrink_bu",
    "net_bu",
    "moisture_discount_usd_bu",
    "moisture_discount_usd",
    "drying_charge_usd_bu",
    "drying_charge_usd",
    "gross_usd",
    "net_amount_usd",
)
COMPARED = (
    "points_removed",
    "gas_gal",
    "gas_usd",
    "electricity_kwh",
    "electricity_usd",
    "labor_usd",
    "wet_usd",
    "dry_usd",
    "gain_usd",
    "wet_usd_per_wet_bu",
    "dry_usd_per_wet_bu",
    "gain_usd_per_wet_bu",
    "break_even_gas_usd_gal",
    "gain_usd_per_dryer_h",
)
ROW = tuple(TableRow.__dataclass_fields__)
POSTED = "The rules as they are recorded here. What a buyer has posted, the contract and the law go before them."
EXAMPLE = {
    "gross_lb": "79860",
    "tare_lb": "27500",
    "moisture_pct": "20.3",
    "price_usd_bu": "4.20",
    "drying": {"gas_usd_gal": "1.55", "labor_h": "1.5", "labor_usd_h": "24"},
}


def figure(help_text: str = "") -> serializers.Field:
    return optional(serializers.DecimalField, max_digits=14, decimal_places=6, help_text=help_text)


class DryingSerializer(StrictSerializer):
    target_moisture_pct = figure("Left out: the schedule's base.")
    gas_gal_per_point_bu = figure("Propane for each point and wet bushel. Left out: 0.02.")
    gas_usd_gal = figure("Left out: the price in force.")
    electricity_kwh_per_point_bu = figure("Left out: 0.01.")
    electricity_usd_kwh = figure("Left out: the price in force.")
    handling_pct = figure("Left out: the setting in force.")
    labor_h = figure("Counts only if given.")
    labor_usd_h = figure()
    dryer_h = figure("Hours the dryer would run; the gain is then told for each of them.")


class QuoteSerializer(StrictSerializer):
    # The limits of a load are those of a ticket.
    model = Ticket

    gross_lb = ExactField()
    tare_lb = ExactField()
    moisture_pct = ExactField()
    price_usd_bu = optional(ExactField, help_text="Left out: grain that is only stored.")
    drying = DryingSerializer(
        required=False, allow_null=True, help_text="What drying at home takes, to compare with selling wet."
    )


class AskQuote(Route):
    def post(self, request: Request, id: UUID) -> Response:
        schedule = get(self.access, Schedule, id)
        serializer = QuoteSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        asked = dict(serializer.validated_data)
        if asked["tare_lb"] >= asked["gross_lb"]:
            raise invalid("/tare_lb", "weights_out_of_order", "tare_lb must be below gross_lb.")
        return Response(outward_quote(schedule, quote(self.access, schedule, **{"price_usd_bu": None} | asked)))

    def describe(self, method: str) -> Operation:
        return Operation(
            "schedules_quote",
            "What a load comes to by a schedule, and by drying it first",
            "schedules",
            {200: Answer("Every line of the settlement. Decimals as text.", QUOTE)},
            problems=(400, 401, 404, 413, 415, 422),
            path=ID,
            body=QuoteSerializer,
            example=EXAMPLE,
        )


def outward_quote(schedule: Schedule, made: Quote) -> dict[str, Any]:
    settled = made.settlement
    return {
        "schedule": schedule.pk,
        "bushel_lb": text(made.load.bushel_lb),
        **{name: text(getattr(settled, name)) for name in SETTLED},
        "rejected": settled.rejected,
        "lines": [_texts(asdict(line)) for line in settled.lines],
        "drying_first": _compared(made, made.comparison) if made.comparison else None,
        "assumed": made.assumed,
        "cautions": [POSTED, *(made.comparison.cautions if made.comparison else (cautions.ESTIMATE,))],
    }


def _compared(made: Quote, found: WetOrDry) -> dict[str, Any]:
    return {
        **{name: text(getattr(found, name)) for name in COMPARED},
        "own": _texts(asdict(made.own)),
        "dry": {name: text(getattr(found.dry, name)) for name in SETTLED},
    }


class Table(Route):
    def parameters(self, method: str) -> Parameters:
        return FORMAT

    def get(self, request: Request, id: UUID) -> HttpResponseBase:
        schedule = get(self.access, Schedule, id)
        rules, bushel = rules_of(schedule.rules), bushel_lb(schedule.crop)
        rows = [_texts(asdict(row)) for row in table(rules, bushel)]
        if csv_is_wanted(request, self.query):
            return _as_csv(rows)
        return Response(
            {
                "schedule": schedule.pk,
                "bushel_lb": text(bushel),
                "rules": canonical(rules),
                "rows": rows,
                "cautions": [POSTED],
            }
        )

    def describe(self, method: str) -> Operation:
        return Operation(
            "schedules_table",
            "What a schedule says at each moisture, from its base to the rejection of loads",
            "schedules",
            {200: Answer("A row for each step of moisture. Decimals as text.", TABLE, csv=True)},
            path=ID,
            query=self.parameters(method),
        )


def _as_csv(rows: list[dict[str, Any]]) -> HttpResponse:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, ROW)
    writer.writeheader()
    writer.writerows(rows)
    return HttpResponse(
        out.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="schedule.csv"', "Vary": "Accept"},
    )


def text(value: Decimal | None) -> str | None:
    """Never 2E+1."""
    return None if value is None else f"{value:f}"


def _texts(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: text(value) if isinstance(value, Decimal) else value for name, value in values.items()}


DECIMAL = {"type": "string", "format": "decimal"}
MAYBE_DECIMAL = {"type": ["string", "null"], "format": "decimal"}
UUID_TEXT = {"type": "string", "format": "uuid"}
DRYING_FIRST = schema(
    {
        **dict.fromkeys(COMPARED[:-2], DECIMAL),
        **dict.fromkeys(COMPARED[-2:], MAYBE_DECIMAL),
        "own": schema(dict.fromkeys(DryingSerializer().fields, MAYBE_DECIMAL)),
        "dry": schema(dict.fromkeys(SETTLED, DECIMAL)),
    }
)
QUOTE = schema(
    {
        "schedule": UUID_TEXT,
        "bushel_lb": DECIMAL,
        **dict.fromkeys(SETTLED, DECIMAL),
        "rejected": {"type": "boolean"},
        "lines": {
            "type": "array",
            "items": schema(
                {"what": {"type": "string"}, "quantity": DECIMAL, "rate": MAYBE_DECIMAL, "usd": MAYBE_DECIMAL}
            ),
        },
        "drying_first": {"oneOf": [DRYING_FIRST, {"type": "null"}]},
        "assumed": TEXTS,
        "cautions": TEXTS,
    }
)
TABLE = schema(
    {
        "schedule": UUID_TEXT,
        "bushel_lb": DECIMAL,
        "rules": {"type": "object", "description": "As they are understood: with everything that was left out."},
        "rows": {"type": "array", "items": schema(dict.fromkeys(ROW, MAYBE_DECIMAL))},
        "cautions": TEXTS,
    }
)
