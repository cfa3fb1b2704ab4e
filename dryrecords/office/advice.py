"""The question about a dryer's next batch, and the advice as people read it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms

from dryrecords.core.quantities import UNITS
from dryrecords.harvest.models import HIGHEST_MOISTURE_PCT, Crop
from dryrecords.office import written
from dryrecords.office.figures import Line
from dryrecords.season.advice import NINETY_FIVE, Advice
from dryrecords.season.calibration_views import CalibrationView
from dryrecords.settlement.selling import Terms, advice_by


def number(label: str, low: float, high: float, *, needed: bool = False) -> forms.FloatField:
    kinder = forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"})
    return forms.FloatField(label=label, min_value=low, max_value=high, required=needed, widget=kinder)


class AdviceForm(forms.Form):
    """By GET: an address that can be kept."""

    crop = forms.ChoiceField(choices=Crop.choices, widget=forms.HiddenInput, required=False)
    moisture_in_pct = number("Moisture of the wet grain, %", 1, HIGHEST_MOISTURE_PCT, needed=True)
    base_moisture_pct = number("Base moisture, %", 1, HIGHEST_MOISTURE_PCT)
    plenum_temp_f = number("Plenum, °F", -40, 300)
    ambient_temp_f = number("Outside, °F", -60, 130)
    ambient_rh_pct = number("Humidity outside, %", 0, 100)

    def given(self) -> dict[str, float]:
        known = {name: value for name, value in self.cleaned_data.items() if value is not None}
        found = {
            f"{stem}_c": UNITS["f"].to_si(known[f"{stem}_f"])
            for stem in ("plenum_temp", "ambient_temp")
            if f"{stem}_f" in known
        }
        return found | ({"ambient_rh_pct": known["ambient_rh_pct"]} if "ambient_rh_pct" in known else {})


@dataclass(frozen=True)
class AdviceLines:
    cutoff: str
    cutoff_from: str
    lines: list[Line]
    forecast: list[Line]
    assumed: list[str]
    cautions: list[str]


def advice_lines(view: CalibrationView, form: AdviceForm, terms: Terms) -> AdviceLines:
    moisture_in, base = (form.cleaned_data[name] for name in ("moisture_in_pct", "base_moisture_pct"))
    made = advice_by(terms, view, moisture_in, base, form.given())
    settings = made.settings
    return AdviceLines(
        cutoff=_within(made.cutoff_temp_c, made.cutoff_within_c),
        cutoff_from=made.cutoff_from,
        lines=[
            Line("Aim for", f"{written.number(made.target.moisture_pct, 1)} %, cooled"),
            Line("Base moisture", f"{made.base_moisture_pct:g} %"),
            Line("Heat for about", _time(made)),
            Line("This dryer's spread", f"{written.number(made.spread_pct, 1)} points"),
            Line("Plenum", written.quantity(settings["plenum_temp_c"], "f")),
            Line("Outside", _outside(settings)),
            *_losses(made),
        ],
        forecast=_forecast(made.forecast.figures),
        assumed=made.assumed,
        cautions=made.forecast.cautions,
    )


def _within(cutoff_c: float | None, half_c: float | None) -> str:
    if cutoff_c is None:
        return "no cut-off can be told"
    middle = UNITS["f"].from_si(cutoff_c)
    if half_c is None:
        return f"{middle:.0f} °F"
    half = half_c / UNITS["f"].factor
    return f"{middle:.0f} °F, likely between {middle - half:.0f} and {middle + half:.0f}"


def _time(made: Advice) -> str:
    seconds, u = made.forecast.figures["drying_s"], made.forecast.figures.get("drying_s_u")
    if seconds is None or u is None:
        return written.duration(seconds)
    low, high = max(seconds - NINETY_FIVE * u, 0.0), seconds + NINETY_FIVE * u
    return f"{written.duration(seconds)} ({written.duration(low)} to {written.duration(high)})"


def _outside(settings: dict[str, float]) -> str:
    return f"{written.quantity(settings['ambient_temp_c'], 'f')}, {written.number(settings['ambient_rh_pct'])} %"


def _losses(made: Advice) -> list[Line]:
    """Cents a bushel, or shares of the price where there is none."""
    in_money = made.money_unit == "usd_per_bu"
    pairs = [("Expected loss at this aim", made.target.expected_loss)]
    pairs.append(("Expected loss at the base", made.target.expected_loss_at_base))
    return [
        Line(label, f"{100 * value:.1f} {'cents a bushel' if in_money else '% of the price'}") for label, value in pairs
    ]


def _forecast(values: dict[str, Any]) -> list[Line]:
    return [
        Line("Moisture when the heat stops", written.percent(values["moisture_at_cutoff_pct"])),
        Line("Cooled", written.percent(values["moisture_cooled_pct"], 1, values.get("moisture_cooled_pct_u"))),
        Line("Wettest over driest layer", f"{written.number(values['moisture_spread_pct'], 1)} points"),
        Line("Water to take out", written.quantity(values["water_removed_kg"], "lb")),
        Line("Fuel", _fuel(values)),
        Line("Electricity", f"{written.number(values['electricity_kwh'])} kWh"),
        Line("Air", written.quantity(values["airflow_m3_s"], "cfm")),
        Line("Static pressure", written.quantity(values["static_pressure_pa"], "inh2o", 1)),
        Line("Bed when loaded", written.quantity(values["bed_depth_m"], "ft", 1)),
        Line("Bed when it stops", written.quantity(values["settled_depth_m"], "ft", 1)),
    ]


def _fuel(values: dict[str, Any]) -> str:
    if values["fuel_volume_m3"] is None:
        return written.quantity(values["fuel_energy_j"], "therm")
    return written.quantity(values["fuel_volume_m3"], "gal")
