"""A real weather year as ambient input: hourly, typical meteorological year 3 of Greensboro, North Carolina.

The file is public data of the US National Renewable Energy Laboratory, shipped inside the pvlib package.
"""

import csv
from importlib.util import find_spec
from pathlib import Path

import numpy as np

_COLUMNS = {
    "temp_c": "Dry-bulb (C)",
    "dew_point_c": "Dew-point (C)",
    "rh_pct": "RHum (%)",
    "pressure_pa": "Pressure (mbar)",
}


def weather_year():
    """Name -> array of 8760 hours from 1 January; `month` counts from 1."""
    (package,) = find_spec("pvlib").submodule_search_locations
    with (Path(package) / "data" / "723170TYA.CSV").open() as file:
        next(file)  # the station
        rows = list(csv.DictReader(file))
    year = {name: np.array([float(row[title]) for row in rows]) for name, title in _COLUMNS.items()}
    year["pressure_pa"] *= 100.0
    year["month"] = np.array([int(row["Date (MM/DD/YYYY)"][:2]) for row in rows])
    return year
