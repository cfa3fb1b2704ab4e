"""Other names that people give to columns, by resource: the trade's own words for what our fields say."""

from __future__ import annotations

_TIMES = ("when", "date", "time", "date time", "datetime", "timestamp", "date and time")

_EVERYWHERE: dict[str, tuple[str, ...]] = {
    "test_weight": ("test wt", "tw", "bushel weight"),
    "grain_temp": ("grain temperature",),
    "moisture": ("mc", "moisture content", "moist", "h2o"),
    "note": ("notes", "comment", "comments", "remark", "remarks"),
    "crop": ("grain", "commodity"),
    "season": ("harvest year", "crop year", "year"),
    "customer": ("farmer", "grower", "client", "owner"),
    "site": ("yard", "location", "place"),
    "meter": ("moisture meter", "tester", "moisture tester"),
    "batch": ("fill", "filling"),
    "tank": ("fuel tank",),
    "unit_price": ("price", "price each"),
    "serial_number": ("serial", "serial no"),
}

# Stems of fields: names without their unit.
ALIASES: dict[str, dict[str, tuple[str, ...]]] = {
    "customers": {"name": ("customer", "farmer", "grower"), "reference": ("number", "account")},
    "sites": {"name": ("site", "yard"), "timezone": ("time zone", "zone"), "elevation": ("altitude",)},
    "tanks": {"name": ("tank",), "capacity": ("size",)},
    "dryers": {"name": ("dryer",), "type": ("kind",), "holding_capacity": ("capacity",)},
    "bins": {"name": ("bin",), "eave_height": ("height",)},
    "meters": {"name": ("meter", "moisture meter", "tester")},
    "lots": {"name": ("lot", "field"), "base_moisture": ("base", "base moisture content")},
    "batches": {
        "started_at": ("start", "started", "start time", "filled", "fill time", *_TIMES),
        "drying_ended_at": ("end", "ended", "finished", "drying ended", "drying end", "end time"),
        "cooling_ended_at": ("cooled", "cooling ended", "cooling end"),
        "emptied_at": ("emptied", "unloaded", "empty"),
        "wet_mass": ("wet weight", "weight", "weight in", "wet wt", "green weight"),
        "dry_mass": ("dry weight", "weight out", "dry wt"),
        "mass_basis": ("weighed by", "basis", "weight basis"),
        "plenum_temp": ("plenum", "plenum temperature", "drying temp", "drying temperature"),
        "cutoff_temp": ("cutoff", "cut off temp", "cutoff temperature"),
        "ambient_temp": ("outside temp", "outdoor temp", "ambient", "ambient temperature"),
        "ambient_rh": ("rh", "humidity", "relative humidity", "outside humidity"),
        "cooling": ("cooling time",),
        "drying_limit": ("time limit",),
    },
    "tickets": {
        "number": ("ticket", "ticket number", "ticket no", "scale ticket", "load"),
        "buyer": ("elevator", "delivered to", "destination"),
        "delivered_at": ("delivered", *_TIMES),
        "disposition": ("sold or stored",),
        "gross": ("gross weight", "gross wt"),
        "tare": ("tare weight", "tare wt"),
        "lot": ("field",),
        "price": ("price per bushel", "price each"),
        "stated_net": ("net bushels", "net bu", "pay bushels"),
        "stated_shrink": ("shrink bushels", "shrink bu", "shrink"),
        "stated_moisture_discount": ("moisture discount", "discount"),
        "stated_drying_charge": ("drying charge", "drying"),
        "stated_net_amount": ("net amount", "amount", "net paid", "settlement"),
    },
    "readings": {
        "at": _TIMES,
        "plenum_temp": ("plenum", "temp", "temperature", "plenum temperature"),
        "exhaust_temp": ("exhaust", "exhaust temperature"),
        "exhaust_rh": ("exhaust humidity", "rh", "humidity"),
        "static_pressure": ("pressure", "static"),
        "depth": ("grain depth",),
    },
    "samples": {
        "taken_at": ("taken", "sampled", "sampled at", *_TIMES),
        "tested_at": ("tested",),
        "stage": ("when taken", "kind"),
        "grain_temp": ("temp", "temperature"),
        "probes": ("number of probes",),
    },
    "fuel-readings": {
        "at": _TIMES,
        "gauge": ("level", "tank level"),
        "volume": ("contents",),
        "fuel_temp": ("temp", "temperature", "fuel temperature"),
    },
    "fuel-deliveries": {
        "at": ("delivered", "delivered at", *_TIMES),
        "volume": ("delivered volume", "quantity", "amount"),
        "fuel_temp": ("temp", "temperature", "fuel temperature"),
    },
    "power-readings": {"at": _TIMES, "meter": ("count", "meter reading", "reading")},
    "prices": {"effective_from": ("from", "since", *_TIMES), "kind": ("what", "type")},
    "rates": {"effective_from": ("from", "since", *_TIMES), "drying_per_point_usd_bu": ("rate", "drying charge")},
    "schedules": {
        "buyer": ("elevator",),
        "effective_from": ("from", "since", *_TIMES),
        "effective_to": ("to", "until"),
        "disposition": ("sold or stored",),
    },
    "settings": {
        "effective_from": ("from", "since", *_TIMES),
        "handling": ("handling loss",),
        "propane": ("heating value of propane",),
    },
}


def aliases_of(kind: str) -> dict[str, tuple[str, ...]]:
    own = ALIASES[kind]
    taken = {alias for names in own.values() for alias in names}
    shared = {stem: tuple(name for name in names if name not in taken) for stem, names in _EVERYWHERE.items()}
    return {stem: shared.get(stem, ()) + own.get(stem, ()) for stem in {*shared, *own}}
