"""Invented schedules and loads of every kind for hypothesis, none of which is refused."""

from decimal import Decimal

from hypothesis import strategies as st

MODES = ("half_up", "half_even", "up", "down")


def _thousandths(number):
    return str(Decimal(number) / 1000)


# Halves of coarse steps are met often, so that the modes of rounding differ.
STEPS = ("0.0001", "0.001", "0.01", "0.05", "0.1", "0.25", "0.5", "1")
roundings = {
    "bu": st.sampled_from(STEPS),
    "shrink_pct": st.sampled_from(("0.000001", *STEPS)),
    "usd_bu": st.sampled_from(("0.000001", *STEPS)),
    "usd": st.sampled_from(STEPS[2:]),
}


@st.composite
def _rounding(draw, steps):
    step = draw(steps)
    return draw(st.one_of(st.just(step), st.builds(lambda mode: {"step": step, "mode": mode}, st.sampled_from(MODES))))


@st.composite
def _bands(draw, base, of_price):
    """Bands that follow each other, as (above, step) in thousandths and their amounts; the last one has no end yet."""
    above, bands = base + draw(st.sampled_from((0, 0, 100, 500))), []
    for _ in range(draw(st.integers(1, 4))):
        step = draw(st.sampled_from((100, 250, 500, 1000, 333)))
        band = {"above": above, "step": step}
        if of_price and draw(st.booleans()):
            band["per_step_pct_of_price"] = str(Decimal(draw(st.integers(0, 50_000))) / 10_000)
        else:
            band["per_step_usd_bu"] = str(Decimal(draw(st.integers(0, 400_000))) / 1_000_000)
        bands.append(band)
        above += step * draw(st.integers(1, 6))
    return bands


def _written(draw, bands, reject):
    written = []
    for number, band in enumerate(bands):
        end = bands[number + 1]["above"] if number + 1 < len(bands) else None
        if end is None and reject is not None and draw(st.booleans()):
            end = band["above"] + band["step"] * -(-(reject - band["above"]) // band["step"])
        amounts = {name: value for name, value in band.items() if name.startswith("per_")}
        edges = {"above_pct": _thousandths(band["above"]), "step_pct": _thousandths(band["step"])}
        written.append(edges | amounts | ({} if end is None else {"up_to_pct": _thousandths(end)}))
    return written


@st.composite
def documents(draw):
    """The rules of a schedule as they may be posted."""
    base = draw(st.sampled_from((15_000, 15_500, 13_000, 14_250, 12_345)))
    document = {"base_moisture_pct": _thousandths(base)}
    lowest_reject = base
    if draw(st.booleans()):
        step = draw(st.sampled_from(("0.01", "0.1", "0.25", "0.5", "1", "0.007")))
        document["moisture_rounding"] = {"step_pct": step, "mode": draw(st.sampled_from(MODES))}
    if draw(st.booleans()):
        own = base + draw(st.sampled_from((0, -1_000, 1_000, -499)))
        method = draw(st.sampled_from(("factor", "dry_matter")))
        shrink = {"method": method, "base_moisture_pct": _thousandths(own)}
        if method == "factor":
            shrink["factor_pct_per_point"] = str(Decimal(draw(st.integers(0, 50_000))) / 10_000)
        shrink["handling_pct"] = str(Decimal(draw(st.integers(0, 20_000))) / 10_000)
        shrink["below_base"] = draw(st.sampled_from(("none", "credit")))
        document["shrink"] = shrink
        lowest_reject = max(lowest_reject, own)
    discount = draw(st.one_of(st.just([]), _bands(base, of_price=True)))
    charged_from = base + draw(st.sampled_from((0, 100, -500)))
    charge_bands = draw(st.one_of(st.just([]), _bands(charged_from, of_price=False)))
    lowest_reject = max([lowest_reject, charged_from] + [band["above"] for band in discount + charge_bands])
    reject = lowest_reject + draw(st.integers(1, 10_000)) if draw(st.booleans()) else None
    if reject is not None:
        document["reject_above_pct"] = _thousandths(reject)
    document["discount"] = _written(draw, discount, reject)
    if draw(st.booleans()):
        charge = {"base_moisture_pct": _thousandths(charged_from), "on": draw(st.sampled_from(("wet_bu", "net_bu")))}
        if charge_bands:
            charge["bands"] = _written(draw, charge_bands, reject)
        else:
            charge["per_point_usd_bu"] = str(Decimal(draw(st.integers(0, 100_000))) / 1_000_000)
        charge["minimum_usd_bu"] = draw(st.sampled_from(("0", "0.05", "0.123456")))
        document["drying_charge"] = charge
    names = draw(st.sets(st.sampled_from(sorted(roundings))))
    document["rounding"] = {name: draw(_rounding(roundings[name])) for name in sorted(names)}
    return document


def edges(document):
    """The moistures at which a document changes its mind, in thousandths."""
    charge = document.get("drying_charge") or {}
    parts = [document, document.get("shrink") or {}, charge, *document["discount"], *charge.get("bands", [])]
    names = ("base_moisture_pct", "reject_above_pct", "above_pct", "up_to_pct")
    return sorted({int(1000 * Decimal(part[name])) for part in parts for name in names if part.get(name)})


@st.composite
def loads(draw, document):
    """A load as decimals by name; mostly trucks, sometimes as large as is allowed, often at an edge of the document."""
    most = draw(st.sampled_from((9_000_000, 9_000_000, 1_000_000_000)))
    gross = draw(st.integers(0, most))
    at_edges = st.builds(lambda edge, off: edge + off, st.sampled_from(edges(document)), st.integers(-1, 1))
    moisture = draw(st.one_of(at_edges, st.integers(100, 350).map(lambda x: 100 * x), st.integers(0, 99_999)))
    price = draw(st.one_of(st.integers(100, 2_000).map(lambda x: 10_000 * x), st.integers(0, 1_000_000_000)))
    return {
        "gross_lb": Decimal(gross) / 100,
        "tare_lb": Decimal(draw(st.integers(0, gross))) / 100,
        "moisture_pct": Decimal(moisture) / 1000,
        "price_usd_bu": Decimal(price) / 1_000_000,
        "bushel_lb": Decimal(draw(st.sampled_from((56_000, 60_000, 48_000, 10_000, 200_000, 52_363)))) / 1000,
    }


@st.composite
def deliveries(draw):
    """A document and some loads for it."""
    document = draw(documents())
    return document, draw(st.lists(loads(document), min_size=1, max_size=12))
