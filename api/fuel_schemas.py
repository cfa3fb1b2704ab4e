"""What accounts, efficiency and vaporisation answer, for the OpenAPI document."""

from __future__ import annotations

from typing import Any

from api.describing import NULLABLE_TEXT
from api.drying_figures import NUMBER, TEXTS, schema
from dryrecords.season.account_keys import DRYER, SITE, TANK
from dryrecords.season.account_views import SUMS
from dryrecords.season.models import BatchResult

# What an account is kept in, inside and outside.
UNIT_NAMES = {"m3": "gal", "j": "therm", "kwh": "kwh"}

TEXT = {"type": "string"}
MOMENT = {"type": "string", "format": "date-time"}
MAYBE_MOMENT = {"type": ["string", "null"], "format": "date-time"}
UUID_TEXT = {"type": "string", "format": "uuid"}
MAYBE_UUID = {"type": ["string", "null"], "format": "uuid"}
FRESH = {"type": "boolean", "description": "Nothing was written since that could change it."}


def _list(of: Any) -> dict[str, Any]:
    return {"type": "array", "items": of}


ACCOUNT = schema(
    {
        "of": {"enum": [TANK, DRYER, SITE]},
        "id": UUID_TEXT,
        "name": TEXT,
        "season": {"type": "integer"},
        "fuel": NULLABLE_TEXT,
        "unit": {"enum": list(UNIT_NAMES.values())},
        "fresh": FRESH,
        "computed_at": MAYBE_MOMENT,
        "totals": schema(dict.fromkeys(SUMS, NUMBER)),
        "intervals": _list(
            schema(
                {
                    "from": MOMENT,
                    "to": MOMENT,
                    **dict.fromkeys(("drawn", "drawn_u", *SUMS[1:]), NUMBER),
                    "batches": _list(schema({"batch": MAYBE_UUID, "share_of_time": NUMBER, "amount": NUMBER})),
                }
            )
        ),
        "batches": _list(
            schema(
                {
                    "batch": UUID_TEXT,
                    **dict.fromkeys(("expected", "amount", "amount_u"), NUMBER),
                    "basis": {"enum": BatchResult.Basis.values},
                    "whole": {"type": "boolean", "description": "All of its time lies between readings."},
                }
            )
        ),
        "findings": _list(
            schema(
                {
                    "kind": TEXT,
                    "from": MOMENT,
                    "to": MOMENT,
                    "reading_at": MAYBE_MOMENT,
                    **dict.fromkeys(("size", "size_u", "reading_off_by", "beyond_u"), NUMBER),
                    "what": TEXT,
                    "likely_causes": TEXTS,
                }
            )
        ),
        "refused_readings": {**_list(MOMENT), "description": "Above the tank's capacity."},
        "assumed": TEXTS,
        "cautions": TEXTS,
        "error": NULLABLE_TEXT,
    }
)
EFFICIENCY = schema(
    {
        "dryer": UUID_TEXT,
        "season": {"type": ["integer", "null"]},
        "crop": TEXT,
        **dict.fromkeys(("usual_ratio", "usual_ratio_u", "ratio_now"), NUMBER),
        "signal": {"enum": ["too_few", "none", "more", "less"]},
        "since": MAYBE_MOMENT,
        "likely_causes": TEXTS,
        "explained_change_pct": {**NUMBER, "description": "By weather, plenum and moistures: no alarm."},
        "batches": _list(
            schema(
                {
                    "batch": UUID_TEXT,
                    "at": MOMENT,
                    "basis": {"enum": BatchResult.Basis.values},
                    "beyond": {"type": "boolean"},
                    **dict.fromkeys(
                        ("fuel_btu_per_lb_water", "fuel_btu_per_lb_water_u", "expected_btu_per_lb_water"), NUMBER
                    ),
                    **dict.fromkeys(("ratio", "ratio_u", "average", "low", "high"), NUMBER),
                }
            )
        ),
        "assumed": TEXTS,
        "cautions": TEXTS,
    }
)
VAPORISATION = schema(
    {
        "tank": UUID_TEXT,
        "level_pct": NUMBER,
        "read_at": MAYBE_MOMENT,
        **dict.fromkeys(("air_temp_f", "diameter_in", "length_in", "gives_btu_h", "burners_max_btu_h"), NUMBER),
        **dict.fromkeys(("burning_btu_h", "vaporiser_heat_btu_h"), NUMBER),
        "enough": {"type": ["boolean", "null"]},
        "missing": TEXTS,
        "assumed": TEXTS,
        "cautions": TEXTS,
    }
)
