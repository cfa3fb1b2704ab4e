"""Small calculators about air: its states before and after heating, and the pressure that a bed of grain asks for."""

from __future__ import annotations

from typing import Any

from rest_framework.exceptions import ErrorDetail, ValidationError

from api.calculator import Calculator, Columns, PlainField
from api.fields import ChoiceField, optional
from api.figures import significant
from api.quantities import QuantityField
from api.record_serializer import StrictSerializer
from dryrecords.core.quantities import UNITS
from dryrecords.grain.airflow import (
    CFM_M3_S,
    CFM_PER_BUSHEL_PER_S,
    DEFAULT_PACKING,
    FAN_EFFICIENCY,
    PACKING,
    PACKING_SOURCE,
    RESISTANCES,
    in_range,
    pressure_gradient_pa_m,
    resistances,
    shaft_power_w_per_1000_bu,
)
from dryrecords.grain.psychrometrics import (
    AIR_J_KG_K,
    dew_point_c,
    enthalpy_j_kg,
    humidity_ratio_of_rh,
    relative_humidity_pct,
    specific_volume_m3_kg,
    standard_pressure_pa,
    wet_bulb_c,
)
from dryrecords.harvest.models import Crop
from dryrecords.tenancy.rules import Limits

FAHRENHEIT = UNITS["f"]
FOOT_M = UNITS["ft"].factor
BTU_PER_LB = UNITS["btu_per_lb"].factor
VOLUME_PER_LB = FOOT_M**3 / UNITS["lb"].factor
# Dry air is at 0 Btu at 0 F in trade units and at 0 J at 0 deg C in SI; water is at 0 at its freezing point in both.
ENTHALPY_BELOW_FREEZING_J_KG = AIR_J_KG_K * 32.0 * FAHRENHEIT.factor
NUMBER = {"type": ["number", "null"]}
TOLD_OF_AIR = (
    "temp_f",
    "rh_pct",
    "wet_bulb_f",
    "dew_point_f",
    "humidity_ratio",
    "enthalpy_btu_lb",
    "volume_ft3_lb",
    "pressure_pa",
)


class AirSerializer(StrictSerializer):
    temp_f = QuantityField(limits=Limits(low=-60, high=200))
    rh_pct = QuantityField(limits=Limits(low=0, high=100))
    heated_to_f = optional(QuantityField, limits=Limits(low=-60, high=300), help_text="Left out: the air as it is.")
    elevation_ft = optional(QuantityField, limits=Limits(low=-1500, high=20_000), help_text="0 if left out.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        heated = attrs.get("heated_to_c")
        if heated is not None and heated < attrs["temp_c"]:
            text = "Must not be below temp_f: cooled air may lose water."
            raise ValidationError({"heated_to_f": [ErrorDetail(text, code="not_heated")]})
        elevation = attrs.get("elevation_m")
        return attrs | {
            "heated_to_c": attrs["temp_c"] if heated is None else heated,
            "elevation_m": 0.0 if elevation is None else elevation,
        }


class Air(Calculator):
    serializer = AirSerializer
    operation_id = "grain_air"
    summary = "Moist air, heated without adding water if asked; the answers are those of the heated air"
    answer = dict.fromkeys(TOLD_OF_AIR, NUMBER)

    def answers(self, column: Columns) -> list[dict[str, Any]]:
        temp, heated, rh = column["temp_c"], column["heated_to_c"], column["rh_pct"]
        pressure = standard_pressure_pa(column["elevation_m"])
        ratio = humidity_ratio_of_rh(temp, rh, pressure)
        told = {
            "temp_f": (heated - FAHRENHEIT.offset) / FAHRENHEIT.factor,
            "rh_pct": relative_humidity_pct(heated, ratio, pressure),
            "wet_bulb_f": (wet_bulb_c(heated, ratio, pressure) - FAHRENHEIT.offset) / FAHRENHEIT.factor,
            "dew_point_f": (dew_point_c(ratio, pressure) - FAHRENHEIT.offset) / FAHRENHEIT.factor,
            "humidity_ratio": ratio,
            "enthalpy_btu_lb": (enthalpy_j_kg(heated, ratio) + ENTHALPY_BELOW_FREEZING_J_KG) / BTU_PER_LB,
            "volume_ft3_lb": specific_volume_m3_kg(heated, ratio, pressure) / VOLUME_PER_LB,
            "pressure_pa": pressure,
        }
        return [{name: significant(float(x[i])) for name, x in told.items()} for i in range(len(temp))]


class AirflowSerializer(StrictSerializer):
    crop = ChoiceField(Crop.choices)
    depth_ft = QuantityField(limits=Limits(low=0.1, high=200))
    cfm_per_bu = optional(PlainField, limits=Limits(low=0.001, high=500), help_text="Exactly one of the two is given.")
    cfm_per_ft2 = optional(PlainField, limits=Limits(low=0.001, high=1000))
    packing = optional(
        QuantityField,
        limits=Limits(low=0.5, high=5),
        help_text="Factor on clean, loosely filled grain; that of the crop if left out.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        per_bu, per_ft2 = attrs.get("cfm_per_bu"), attrs.get("cfm_per_ft2")
        if (per_bu is None) == (per_ft2 is None):
            text = "Give exactly one of cfm_per_bu and cfm_per_ft2."
            raise ValidationError({"cfm_per_bu": [ErrorDetail(text, code="one_figure")]})
        # A bushel of volume on each square foot is so many feet deep.
        bu_per_ft2 = attrs["depth_m"] * CFM_PER_BUSHEL_PER_S / (CFM_M3_S / FOOT_M**2)
        packing = attrs.get("packing")
        return attrs | {
            "cfm_per_bu": per_ft2 / bu_per_ft2 if per_bu is None else per_bu,
            "cfm_per_ft2": per_bu * bu_per_ft2 if per_ft2 is None else per_ft2,
            "packing": PACKING.get(attrs["crop"], DEFAULT_PACKING) if packing is None else packing,
        }


class Airflow(Calculator):
    serializer = AirflowSerializer
    operation_id = "grain_airflow"
    summary = "Static pressure that air needs through a bed, and the fan power for it"
    answer = {
        "crop": {"type": "string"},
        **{name: {"type": "number"} for name in ("depth_ft", "cfm_per_bu", "cfm_per_ft2", "packing")},
        "static_pressure_inh2o": NUMBER,
        "fan_hp_per_1000_bu": NUMBER,
        "source": {"type": ["string", "null"]},
        "assumed": {"type": "array", "items": {"type": "string"}},
    }

    def answers(self, column: Columns) -> list[dict[str, Any]]:
        airflow = column["cfm_per_ft2"] * CFM_M3_S / FOOT_M**2
        bed = resistances(column["crop"], column["packing"])
        pressure = pressure_gradient_pa_m(airflow, bed) * column["depth_m"] / UNITS["inh2o"].factor
        power = shaft_power_w_per_1000_bu(airflow, bed) / UNITS["hp"].factor
        known = in_range(airflow, column["crop"])
        rows = zip(*(column[name].tolist() for name in AirflowSerializer.columns()), strict=True)
        return [
            AirflowSerializer.outward(row)
            | {
                "cfm_per_bu": significant(row[2]),
                "cfm_per_ft2": significant(row[3]),
                "static_pressure_inh2o": significant(float(pressure[i])),
                "fan_hp_per_1000_bu": significant(float(power[i])),
                "source": RESISTANCES[row[0]].source if row[0] in RESISTANCES else None,
                "assumed": _of_airflow(row[0], bool(known[i])),
            }
            for i, row in enumerate(rows)
        ]


def _of_airflow(crop: str, is_known: bool) -> list[str]:
    if crop not in RESISTANCES:
        return [f"No resistance to air is known of {crop}."]
    said = [f"Fan efficiency {FAN_EFFICIENCY:g}; packing: {PACKING_SOURCE}."]
    return said if is_known else [*said, "The airflow is outside of the range that was measured."]
