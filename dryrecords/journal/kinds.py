"""Kinds of stale marks. A wide kind stands for every batch it touches; the season task finds which those are."""

BATCH = "batch"
# What a tank or a meter gave, and to which batches; worked off between results and seasons.
ACCOUNT = "account"
SITE_SEASON = "site_season"

DRYER = "dryer"
TANK = "tank"
SITE_POWER = "site_power"
METER = "meter"
LOT = "lot"
PRICES = "prices"
SETTINGS = "settings"

WIDE = (DRYER, TANK, SITE_POWER, METER, LOT, PRICES, SETTINGS)
# One key for kinds that concern an organization as a whole.
EVERYTHING = "all"

# Work that may wait a moment, so that it is done once for many writes.
CALIBRATION = "calibration"
FORECAST_GRID = "forecast_grid"
