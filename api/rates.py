"""Rates: what a drying company charges, and what it gives back of commingled grain."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.fields import ChoiceField, MomentOrDayField, PriceField, ReferenceField, optional
from api.filters import choice, of_customer
from api.record_serializer import PartSerializer, RecordSerializer
from api.resources import Resource
from dryrecords.harvest.models import Crop
from dryrecords.settlement.models import Rate
from dryrecords.settlement.rate_services import rates
from dryrecords.settlement.statement_terms import digits

MOST_BANDS = 50


class ExactTextField(serializers.DecimalField):
    """A decimal inside a part of a record: kept as text, so that every digit stays."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=12, decimal_places=6, min_value=0, max_value=1000, **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, bool) or not isinstance(data, int | float | str):
            self.fail("invalid")
        return super().to_internal_value(data)

    def run_validation(self, data: Any = serializers.empty) -> Any:
        value = super().run_validation(data)
        return value if value is None else digits(value)

    def outward(self, value: str | None) -> str | None:
        return value


class StepField(ExactTextField):
    default_error_messages = {"not_above_zero": "Must be above zero."}

    def to_internal_value(self, data: Any) -> Any:
        value = super().to_internal_value(data)
        if value <= 0:
            self.fail("not_above_zero")
        return value


class BandSerializer(PartSerializer):
    above_points = ExactTextField(help_text="0 for the first; each begins where the one before ends.")
    up_to_points = optional(ExactTextField, help_text="Left out in the last one: without end.")
    step_points = StepField()
    per_step_usd_bu = ExactTextField(help_text="For each step that has begun.")


class RateSerializer(RecordSerializer):
    model = Rate

    effective_from = MomentOrDayField(
        help_text="A plain date is its midnight UTC. What counts is when the filling of a batch began."
    )
    customer = optional(ReferenceField, help_text="Left out, the rate holds for all customers. It never changes.")
    crop = optional(ChoiceField, Crop.choices, help_text="Left out, it holds for all crops.")
    drying_on = ChoiceField(
        Rate.Bushels.choices, help_text="Bushels that drying is charged on: as they came in, or as they came out."
    )
    drying_per_point_usd_bu = optional(PriceField, help_text="For a point and bushel. Either this or `bands`.")
    bands = BandSerializer(
        many=True,
        required=False,
        max_length=MOST_BANDS,
        help_text="Charge of a bushel by points removed: bands add up, a started step counts whole.",
    )
    points_counted = ChoiceField(
        Rate.Points.choices,
        required=False,
        help_text="`removed`, as when left out, or `to_base`: points below the base moisture are not charged.",
    )
    base_moisture_pct = optional(PriceField, help_text="Left out, that of the lot, or of the settings.")
    moisture_rounding_pct = PriceField(required=False, help_text="Increment, half up; 0.1 if left out.")
    bushel_rounding_bu = PriceField(required=False, help_text="Increment, half up; 0.01 if left out.")
    minimum_usd = optional(PriceField, help_text="Least charge for drying, in- and out-charges and surcharge apart.")
    minimum_per = optional(ChoiceField, Rate.Per.choices)
    surcharge_fuel = optional(
        ChoiceField, Rate.Gas.choices, help_text="By whose price (`/prices`) the surcharge goes; of all four or none."
    )
    surcharge_above_usd = optional(PriceField, help_text="Base price of the fuel, per gallon or therm.")
    surcharge_step_usd = optional(PriceField, help_text="Each started step above the base price counts whole.")
    surcharge_per_step_usd_bu = optional(PriceField, help_text="For each step, point and bushel.")
    in_usd_bu = optional(PriceField, help_text="For a wet bushel that came in.")
    out_usd_bu = optional(PriceField, help_text="For a bushel that goes back.")
    shrink = optional(
        ChoiceField,
        Rate.Shrink.choices,
        help_text="Commingled grain goes back as market bushels: by each batch's own shrink, or by factor. Left out, "
        "it is not commingled.",
    )
    shrink_factor_pct_per_point = optional(PriceField, help_text="Percent of wet bushels for a point above the base.")
    shrink_handling_pct = optional(PriceField, help_text="Percent of wet bushels, with a factor only.")


RESOURCES = (
    Resource(
        "What a customer is charged for drying, and what goes back of commingled grain.",
        RateSerializer,
        rates,
        {"customer": of_customer(Rate), "crop": choice(Crop, "crop")},
    ),
)
