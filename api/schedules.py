"""Discount schedules: what a buyer takes off for moisture, and from when until when."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.fields import ChoiceField, MomentOrDayField, TextField, optional
from api.filters import Parameter, choice
from api.record_serializer import RecordSerializer
from api.resources import Resource
from api.tickets import exactly
from dryrecords.harvest.models import Crop
from dryrecords.settlement import services
from dryrecords.settlement.models import Schedule
from dryrecords.settlement.statutes import STATUTES

RULES = (
    "base_moisture_pct, moisture_rounding {step_pct, mode}, shrink {method (factor, dry_matter), base_moisture_pct,"
    " factor_pct_per_point, handling_pct, below_base (none, credit)}, discount [{above_pct, up_to_pct, step_pct,"
    " per_step_usd_bu or per_step_pct_of_price}], drying_charge {per_point_usd_bu or bands, base_moisture_pct,"
    " on (wet_bu, net_bu), minimum_usd_bu}, reject_above_pct, rounding {bu, shrink_pct, usd_bu, usd}. Only the base is"
    " needed. Bands add up and a started step counts whole. Numbers as decimal text are the surest."
)


@extend_schema_field({"type": "object", "description": RULES, "additionalProperties": True})
class RulesField(serializers.JSONField):
    """What is in it is the domain's to say."""

    default_error_messages = {"not_an_object": "Rules are an object."}

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, dict):
            self.fail("not_an_object")
        return data


class ScheduleSerializer(RecordSerializer):
    model = Schedule

    buyer = TextField(help_text="The buyer's name, written as on its tickets.")
    crop = ChoiceField(Crop.choices)
    effective_from = MomentOrDayField(
        help_text="A plain date is its midnight UTC: write the offset where loads come late in the evening."
    )
    effective_to = optional(MomentOrDayField, help_text="No longer in force from then on; left out, it goes on.")
    disposition = ChoiceField(
        Schedule.Disposition.choices, required=False, help_text="For grain that is sold, stored, or any: if left out."
    )
    jurisdiction = optional(
        TextField,
        100,
        help_text=f"Whose law on shrink an audit compares the rules with. Known are: {', '.join(STATUTES)}.",
    )
    rules = RulesField()


RESOURCES = (
    Resource(
        "What buyers take off for moisture, and from when until when.",
        ScheduleSerializer,
        services.schedules,
        {
            "buyer": exactly("buyer"),
            "crop": choice(Crop, "crop"),
            "disposition": choice(Schedule.Disposition, "disposition"),
            "in_force_at": Parameter(
                MomentOrDayField(),
                "Only what is in force at this moment. RFC 3339 with offset, or a date, which is its midnight UTC.",
                Schedule.in_force,
            ),
        },
    ),
)
