"""Two moisture meters over a season, or a meter against a buyer's tickets, as a report."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.fields import ChoiceField, ReferenceField, YearField
from api.filters import Parameter, Parameters
from api.operations import Answer, Operation
from api.views import Route
from dryrecords.core.errors import FieldError, Invalid, invalid
from dryrecords.harvest.models import Crop
from dryrecords.settlement.meter_comparison import WITHIN_MIN, compare_meters, compare_with_buyer

CAUTIONS = [
    "A meter's inspection by the state, with reference samples, goes before any comparison of two meters.",
    "Two meters that agree may both be wrong, and no comparison reaches beyond the moistures that were tested.",
]
PARAMETERS: Parameters = {
    "season": Parameter(YearField(), "Harvest year. Needed."),
    "one": Parameter(ReferenceField(), "The meter (its id). Needed."),
    "other": Parameter(ReferenceField(), "The meter it is compared with (its id). Or:"),
    "buyer": Parameter(serializers.CharField(max_length=200), "The buyer whose tickets it is compared with."),
    "crop": Parameter(ChoiceField(Crop.choices), "Only of this crop."),
    "within_min": Parameter(
        serializers.IntegerField(min_value=0, max_value=1440),
        f"How many minutes apart two tests of the same grain may be; {WITHIN_MIN} if left out.",
    ),
    "variance_ratio": Parameter(
        serializers.FloatField(min_value=1e-3, max_value=1e3),
        "Of the line: variance of the first meter's error over that of the second; 1 if left out.",
    ),
}


class MeterComparison(Route):
    def parameters(self, method: str) -> Parameters:
        return PARAMETERS

    def get(self, request: Request) -> Response:
        asked = dict(self.query)
        missing = [name for name in ("season", "one") if name not in asked]
        if missing:
            raise Invalid(errors=[FieldError(f"/{name}", "required", "This is needed.") for name in missing])
        if ("other" in asked) == ("buyer" in asked):
            raise invalid("/other", "one_of_two", "Give another meter or a buyer.")
        if "buyer" in asked and "within_min" in asked:
            raise invalid("/within_min", "not_with_buyer", "A test belongs to its ticket whenever it was made.")
        told = (compare_with_buyer if "buyer" in asked else compare_meters)(self.access, **asked)
        return Response({"season": asked["season"], "crop": asked.get("crop"), **told, "cautions": CAUTIONS})

    def describe(self, method: str) -> Operation:
        return Operation(
            "meters_comparison",
            "Compare two moisture meters, or a meter and a buyer's tickets, over a season",
            "meters",
            {200: Answer("Bias, limits of agreement, tests against the tolerance, by bands; the line.", REPORT)},
            query=PARAMETERS,
        )


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": list(properties), "properties": properties}


TEXT = {"type": "string"}
NUMBER = {"type": ["number", "null"]}
TWO = {"type": "array", "items": NUMBER, "minItems": 2, "maxItems": 2}
COUNT = {"type": "integer", "minimum": 0}
STATISTICS = _object(
    {
        "of": TEXT,
        "pairs": COUNT,
        "mean_moisture_pct": NUMBER,
        "bias_pct": NUMBER | {"description": "In the mean, points; null without pairs."},
        "standard_deviation_pct": NUMBER,
        "bias_from_pct": NUMBER,
        "bias_to_pct": NUMBER,
        "confidence": NUMBER,
        "p": NUMBER | {"description": "Of a bias of none, paired t-test."},
        "limits_of_agreement_pct": TWO | {"description": "Bland & Altman: most single differences lie between."},
        "lower_limit_from_to_pct": TWO,
        "upper_limit_from_to_pct": TWO,
        "tolerance_pct": NUMBER | {"description": "Of a meter in service; the state's current rule decides."},
        "equivalence_p": NUMBER | {"description": "Two one-sided tests against the tolerance."},
        "verdict": {"enum": ["within_tolerance", "beyond_tolerance", "not_shown"]},
        "smallest_detectable_bias_pct": NUMBER | {"description": "What so many pairs would show with this power."},
        "power": NUMBER,
    }
)
REPORT = _object(
    {
        "season": COUNT,
        "crop": {"type": ["string", "null"]},
        "pairs": COUNT,
        "all": STATISTICS,
        "bands": {"type": "array", "items": STATISTICS},
        "line": _object(
            {
                "slope": NUMBER,
                "intercept_pct": NUMBER,
                "variance_ratio": NUMBER,
                "from_pct": NUMBER,
                "to_pct": NUMBER,
            }
        ),
        "pairing": TEXT | {"description": "Which tests count as of the same grain."},
        "one": TEXT,
        "other": TEXT,
        "cautions": {"type": "array", "items": TEXT},
    }
)
