"""What is said beside everything that a person may act on at a dryer or a bin."""

from __future__ import annotations

from dryrecords.grain.heat_limits import heat_limit

ESTIMATE = (
    "An estimate: it controls nothing. Watch the dryer, sample the grain, and follow the equipment's manual, local "
    "codes and licensed practice."
)
FIRE = "Do not leave a burning dryer unattended; keep it and the ground around it free of fines and trash."
BIN = (
    "Never enter a bin while grain moves or unloading may start, nor alone, nor without lock-out and an air test: "
    "grain buries a person within seconds."
)
HOT_SAMPLES = "Hot grain reads low, by up to two points: judge by a sample that has cooled for a night."
SPOILING = (
    "Storage times are averages for sound grain at one temperature. Probe for hot spots, crusts and smells; fines and "
    "peaks under the spreader spoil first."
)

GAS = (
    "Burners, gas lines and tanks are for people licensed to work on them. If you smell gas, shut it off if you can do "
    "so safely, leave, and call your supplier or the fire service from away."
)
DELIVERY = "Order before a tank is low: suppliers and roads are busy when every dryer runs. Never heat a tank."
FROST = (
    "Frost on a tank, a line or a vaporiser can mean that more is drawn than heat comes in, or a low tank; it can have "
    "other causes."
)

FUEL = (ESTIMATE, GAS)
OUTLOOK = (ESTIMATE, FIRE, DELIVERY, GAS)
FORECAST = (ESTIMATE, FIRE, HOT_SAMPLES)
STORAGE = (ESTIMATE, BIN, SPOILING)


def of_warming(warmed_c: float | None, by_c: float) -> list[str]:
    """Says so when the newest temperature is above the one before by as much as a hot spot makes."""
    if warmed_c is None or warmed_c < by_c:
        return []
    return [
        f"The grain has warmed by {warmed_c * 1.8:.0f} F since the sample before: find out why, run the fan, and look "
        "for a hot spot from outside of the bin."
    ]


def of_vapour(enough: bool | None) -> list[str]:
    """Dryers as a rule draw liquid and vaporise it; a tank's own vapour is seldom enough for one."""
    usual = (
        "Most dryers draw liquid and have a vaporiser: then this does not limit them, but the vaporiser needs its own "
        "heat and a level that its manual names."
    )
    if enough is False:
        return [
            "The burners ask for more than the tank's own vapour gives: without a vaporiser pressure drops, and flames "
            "may go out.",
            usual,
            FROST,
            DELIVERY,
        ]
    return [usual, FROST]


def of_heat(crop: str, dryer_type: str, plenum_temp_c: float) -> list[str]:
    """Says so when the air is hotter than a published limit, or when none is known."""
    limit = heat_limit(crop, dryer_type)
    if limit is None:
        return [f"No published limit of the drying air for {crop} is known here: ask your extension service."]
    if plenum_temp_c <= limit.temp_c + 0.05:
        return []
    return [
        f"The plenum is hotter than a published limit for {crop} in this kind of dryer: {limit.temp_c * 1.8 + 32:.0f} F"
        f" ({limit.use}; {limit.source}). Heat can crack kernels, lower test weight and start fires."
    ]
