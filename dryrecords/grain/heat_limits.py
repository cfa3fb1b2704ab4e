"""Published limits of the drying air's temperature, by crop and kind of dryer. To be pointed out, not enforced."""

from dataclasses import dataclass


@dataclass(frozen=True)
class HeatLimit:
    """Highest temperature of the air at the grain [deg C], and who says so."""

    temp_c: float
    use: str
    source: str


def _f(temp_f: float) -> float:
    return (temp_f - 32.0) / 1.8


_NDSU = "North Dakota State University extension"
_CGC = "Canadian Grain Commission; up to 6 points a pass"

# Kinds of dryer as in the record; a bin of grain that stays where it dries is the most careful case.
LIMITS: dict[str, dict[str, HeatLimit]] = {
    "corn": {
        "continuous_flow": HeatLimit(_f(210.0), "feed and commercial", _NDSU),
        "column_batch": HeatLimit(_f(180.0), "feed and commercial", _NDSU),
        "batch_in_bin": HeatLimit(_f(160.0), "feed and commercial", "extension text on batch bins: 120 to 160 F"),
        "in_bin": HeatLimit(_f(120.0), "feed and commercial", _NDSU),
    },
    "soybean": {
        "continuous_flow": HeatLimit(_f(130.0), "not for food or seed", _NDSU),
        "column_batch": HeatLimit(_f(110.0), "not for food or seed", _NDSU),
        "batch_in_bin": HeatLimit(_f(110.0), "not for food or seed", _NDSU),
        "in_bin": HeatLimit(_f(110.0), "not for food or seed", _NDSU),
    },
    "wheat": {"": HeatLimit(65.0, "commercial", _CGC)},
    "barley": {"": HeatLimit(55.0, "commercial; 45 for malt and seed", _CGC)},
    "oats": {"": HeatLimit(60.0, "commercial", _CGC)},
    "canola": {"": HeatLimit(65.0, "commercial", _CGC)},
    "rough_rice": {"": HeatLimit(43.0, "seed; no other figure known", "Indian rice knowledge portal")},
}


def heat_limit(crop: str, dryer_type: str) -> HeatLimit | None:
    """The limit of a crop in a kind of dryer, else that of the crop in any; None where none is known."""
    of_crop = LIMITS.get(crop, {})
    return of_crop.get(dryer_type) or of_crop.get("")
