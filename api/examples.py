"""Bodies to begin with, for the docs page: one for each resource, of an invented farm."""

SOME_ID = "01a211a1-e7da-77a6-80d1-e3598be6441e"

EXAMPLES = {
    "customers": {"name": "North field"},
    "sites": {"customer": SOME_ID, "name": "Home", "timezone": "America/Chicago", "elevation_ft": 980},
    "tanks": {"site": SOME_ID, "name": "Yard tank", "fuel": "propane", "capacity_gal": 1000},
    "dryers": {
        "site": SOME_ID,
        "name": "Bin dryer",
        "type": "batch_in_bin",
        "tank": SOME_ID,
        "diameter_ft": 24,
        "bed_depth_ft": 1.5,
        "sensor_height_ft": 1.2,
        "fans": [{"purpose": "drying", "power_hp": 15}, {"purpose": "cooling", "power_hp": 4}],
    },
    "bins": {"site": SOME_ID, "name": "Bin 1", "diameter_ft": 30, "eave_height_ft": 18, "bottom": "flat"},
    "meters": {"name": "Office bench meter", "serial_number": "BM-0417"},
    "lots": {"customer": SOME_ID, "crop": "corn", "season": 2026, "name": "North field", "base_moisture_pct": 15},
    "batches": {
        "dryer": SOME_ID,
        "crop": "corn",
        "started_at": "2026-10-05T08:00:00-05:00",
        "drying_ended_at": "2026-10-05T10:30:00-05:00",
        "wet_mass_lb": 31000,
        "mass_basis": "scale",
        "plenum_temp_f": 160,
        "cutoff_temp_f": 112,
        "stop_reason": "cutoff",
        "ambient_temp_f": 52,
        "refills": [{"at": "2026-10-05T09:10:00-05:00", "mass_lb": 4000, "moisture_pct": 24.2}],
    },
    "readings": {"batch": SOME_ID, "at": "2026-10-05T09:00:00-05:00", "plenum_temp_f": 158, "burner": "high"},
    "samples": {
        "batch": SOME_ID,
        "stage": "cooled",
        "taken_at": "2026-10-06T07:30:00-05:00",
        "moisture_pct": 14.1,
        "meter": SOME_ID,
    },
    "fuel-readings": {"tank": SOME_ID, "at": "2026-10-05T07:50:00-05:00", "gauge_pct": 62, "fuel_temp_f": 48},
    "fuel-deliveries": {
        "tank": SOME_ID,
        "at": "2026-10-04T15:00:00-05:00",
        "volume_gal": 400,
        "unit_price_usd": "1.62",
    },
    "power-readings": {"dryer": SOME_ID, "at": "2026-10-05T07:50:00-05:00", "meter_kwh": 18250},
    "prices": {"kind": "grain", "crop": "corn", "effective_from": "2026-09-01", "unit_price_usd": "4.05"},
    "settings": {"effective_from": "2026-08-01", "crop": "corn", "handling_pct": 0.5, "base_moisture_pct": 15},
}
