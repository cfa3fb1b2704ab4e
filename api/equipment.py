"""Tanks, dryers, bins and moisture meters."""

from __future__ import annotations

from api.fields import ChoiceField, ReferenceField, TextField, optional
from api.filters import choice, of_customer, reference
from api.quantities import QuantityField
from api.record_serializer import PartSerializer, RecordSerializer
from api.resources import Resource
from dryrecords.equipment import services
from dryrecords.equipment.models import Bin, Dryer, Fuel, Meter, Tank
from dryrecords.tenancy.rules import Limits

POSITIVE = Limits(above=0)
MOST_FANS = 50


class TankSerializer(RecordSerializer):
    model = Tank

    site = ReferenceField()
    name = TextField()
    fuel = ChoiceField(Fuel.choices)
    capacity_gal = optional(QuantityField)


class FanSerializer(PartSerializer):
    purpose = ChoiceField(["drying", "cooling"])
    power_hp = optional(QuantityField, limits=POSITIVE)
    diameter_in = optional(QuantityField, limits=POSITIVE)
    airflow_cfm = optional(QuantityField, limits=POSITIVE, help_text="At `static_pressure_inh2o`.")
    static_pressure_inh2o = optional(QuantityField, limits=Limits(low=0, high=100))


class DryerSerializer(RecordSerializer):
    model = Dryer

    site = ReferenceField()
    name = TextField()
    type = ChoiceField(Dryer.Type.choices)
    tank = optional(ReferenceField)
    diameter_ft = optional(QuantityField)
    bed_area_ft2 = optional(QuantityField)
    bed_depth_ft = optional(QuantityField)
    holding_capacity_bu = optional(QuantityField, unit="volume_bu", help_text="In bushels of volume.")
    burner_max_btu_h = optional(QuantityField)
    sensor_height_ft = optional(QuantityField)
    fans = FanSerializer(many=True, required=False, max_length=MOST_FANS)


class BinSerializer(RecordSerializer):
    model = Bin

    site = ReferenceField()
    name = TextField()
    diameter_ft = optional(QuantityField)
    eave_height_ft = optional(QuantityField)
    bottom = ChoiceField(Bin.Bottom.choices, required=False)


class MeterSerializer(RecordSerializer):
    model = Meter

    name = TextField()
    serial_number = optional(TextField, 100)
    standard_uncertainty_pct = optional(
        QuantityField, help_text="Left out, the meter is taken to be within the published tolerance."
    )


def _at_a_site(model: type[Tank] | type[Dryer] | type[Bin]) -> dict[str, object]:
    return {"site": reference("site", "site_id"), "customer": of_customer(model)}


RESOURCES = (
    Resource(
        "Where fuel is read: a tank, or a gas meter.",
        TankSerializer,
        services.tanks,
        {**_at_a_site(Tank), "fuel": choice(Fuel, "fuel")},
    ),
    Resource(
        "Dryers with their fans and burner.",
        DryerSerializer,
        services.dryers,
        {**_at_a_site(Dryer), "tank": reference("tank", "tank_id"), "type": choice(Dryer.Type, "type")},
    ),
    Resource("Bins where grain is stored.", BinSerializer, services.bins, _at_a_site(Bin)),
    Resource("Moisture meters and how far they can be trusted.", MeterSerializer, services.meters, {}),
)
