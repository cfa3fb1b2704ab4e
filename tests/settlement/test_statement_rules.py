"""What a load is charged, by hand and by published forms of charges; and every rate against plain fractions."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.core.decimals import published
from dryrecords.settlement.rate_services import terms_of
from dryrecords.settlement.statement_rules import Line, Load, Terms, gaps, line, steps_begun, to_step, totals
from dryrecords.settlement.terms import Band
from tests.settlement import seasons
from tests.settlement.plain_rates import charges

LOAD = Load(
    moisture_in_pct=D("20.5"),
    moisture_out_pct=D("15"),
    base_moisture_pct=D("15"),
    wet_bu=D(1000),
    dry_bu=D("935.29"),
    market_bu=D("935.29"),
)


def terms(**values: Any) -> Terms:
    return terms_of(seasons.rate(**values))


def bands(*given: tuple[str, str | None, str, str]) -> list[dict[str, str | None]]:
    names = ("above_points", "up_to_points", "step_points", "per_step_usd_bu")
    return [dict(zip(names, each, strict=True)) for each in given]


def stepped(*given: tuple[str, str | None, str, str]) -> Terms:
    return terms(drying_per_point_usd_bu=None, bands=bands(*given))


def test_published_example_of_a_charge_by_the_point() -> None:
    """56,000 lb of corn at 20.5 %, dried to 15 for 4.8 cents a point and wet bushel: $264 (TeBockhorst and Shouse,
    Iowa State University Extension, 2019)."""
    assert line(LOAD, terms(drying_per_point_usd_bu=D("0.048"))).drying_usd == D("264.00")


# Posted charges of country elevators, as steps of points above 15 %, in dollars a bushel. Their forms, unnamed.
FORM_OF_2009 = [("0", "3", "1", "0.04"), ("3", "7", "1", "0.03"), ("7", None, "1", "0.02")]
FORM_OF_2023 = [
    ("0", "0.5", "0.5", "0.06"),
    ("0.5", "2.5", "0.5", "0.01"),
    ("2.5", None, "0.5", "0.02"),
]
FORM_OF_2024 = [("0", "5", "1", "0.05"), ("5", None, "1", "0.02")]


@pytest.mark.parametrize(
    ("form", "moisture", "printed"),
    [
        *[(FORM_OF_2009, m, p) for m, p in (("15.0", 0), ("15.1", 4), ("16.0", 4), ("16.1", 8), ("19.4", 18))],
        (FORM_OF_2009, "25.0", 30),
        *[(FORM_OF_2023, m, p) for m, p in (("15.1", 6), ("15.5", 6), ("15.6", 7), ("17.5", 10), ("17.6", 12))],
        *[(FORM_OF_2023, m, p) for m, p in (("20.0", 20), ("20.1", 22), ("25.5", 42), ("26.0", 44), ("27.6", 52))],
        *[(FORM_OF_2024, m, p) for m, p in (("18.0", 15), ("18.1", 20), ("22.4", 31), ("25.0", 35))],
    ],
)
def test_posted_tables_of_charges(form: list[Any], moisture: str, printed: int) -> None:
    """Cells in cents a bushel; a started step counts whole."""
    assert stepped(*form).usd_bu(D(moisture) - 15) * 100 == printed


@pytest.mark.parametrize(
    ("wet_bu", "moisture", "factor", "handling", "back"),
    [
        # 1.2 percent a point from 20 to 15 %: 0.94 (factor of the US Risk Management Agency, by an insurance agency).
        ("1000", "20", "1.2", "0", "940.00"),
        # 215.9 wet bushels at 25 %, flat 1.4: 185.7 (farmdoc, University of Illinois, FEFO 09-16, 2009; printed 186).
        ("215.9", "25", "1.4", "0", "185.67"),
        # Iowa Code 203.20: 1.18 percent a point, and handling that is posted beside it.
        ("1000", "25", "1.18", "0.5", "877.00"),
        ("1000", "14", "1.18", "0", "1000.00"),
    ],
)
def test_bushels_back_by_a_factor(wet_bu: str, moisture: str, factor: str, handling: str, back: str) -> None:
    by = terms(shrink="factor", shrink_factor_pct_per_point=D(factor), shrink_handling_pct=D(handling))
    load = replace(LOAD, wet_bu=D(wet_bu), moisture_in_pct=D(moisture))
    assert line(load, by).back_bu == D(back)


def test_bushels_back_otherwise() -> None:
    load = replace(LOAD, moisture_out_pct=D("15.8"), dry_bu=D("944.18"), market_bu=D("935.29"))
    assert line(load, terms()).back_bu == D("944.18")
    assert line(load, terms(shrink="actual")).back_bu == D("935.29")
    with_out = line(load, terms(shrink="actual", in_usd_bu=D("0.05"), out_usd_bu=D("0.04")))
    assert (with_out.in_usd, with_out.out_usd) == (D("50.00"), D("37.41"))


def test_points_below_the_base() -> None:
    """Charged or not, how much of the charge they are is said."""
    load = replace(LOAD, moisture_out_pct=D("13.5"), dry_bu=D("919.08"), market_bu=D("919.08"))
    removed, to_base = line(load, terms()), line(load, terms(points_counted="to_base"))
    assert (removed.points, removed.points_below_base, removed.drying_usd) == (D("7.0"), D("1.5"), D("350.00"))
    assert removed.below_base_usd == D("75.00")
    assert (to_base.points, to_base.points_below_base, to_base.drying_usd) == (D("5.5"), D("1.5"), D("275.00"))
    assert to_base.below_base_usd == 0
    wet_in_dry = replace(load, moisture_in_pct=D("14.5"))
    assert line(wet_in_dry, terms(points_counted="to_base")).drying_usd == 0
    assert line(wet_in_dry, terms()).below_base_usd == D("50.00")


def test_wet_or_dry_bushels() -> None:
    assert line(LOAD, terms(drying_on="dry_bu")).drying_usd == D("257.20")


def test_minimum_of_the_batch_and_of_the_bushel() -> None:
    small = replace(LOAD, wet_bu=D("100"), moisture_in_pct=D("15.5"))
    assert line(small, terms()).drying_usd == D("2.50")
    assert line(small, terms(minimum_usd=D("60"), minimum_per="batch")).drying_usd == D("60.00")
    assert line(small, terms(minimum_usd=D("0.0345"), minimum_per="bu")).drying_usd == D("3.45")
    assert line(LOAD, terms(minimum_usd=D("60"), minimum_per="batch")).drying_usd == D("275.00")


@pytest.mark.parametrize(
    ("gas", "cents"), [("1.60", 0), ("1.20", 0), ("1.600001", 1100), ("1.70", 1100), ("1.71", 2200), ("2.05", 5500)]
)
def test_surcharge_by_the_started_step(gas: str, cents: int) -> None:
    by = terms(
        surcharge_fuel="propane",
        surcharge_above_usd=D("1.6"),
        surcharge_step_usd=D("0.1"),
        surcharge_per_step_usd_bu=D("0.002"),
    )
    assert line(replace(LOAD, gas_usd=D(gas)), by).surcharge_usd * 100 == cents


def test_moisture_is_rounded_half_up_before_anything_else() -> None:
    """2.45 is reported as 2.5 (7 CFR 868.308), and 15.05 as 15.1: binary floats and bankers would say otherwise."""
    assert line(replace(LOAD, moisture_in_pct=D("15.05")), terms()).points == D("0.1")
    assert line(replace(LOAD, moisture_in_pct=D("15.04")), terms()).points == 0
    assert to_step(published(2.45), D("0.1")) == D("2.5")
    # A sum that floats have just below the half.
    assert to_step(published(15.05 + 1e-14 - 2e-14), D("0.1")) == D("15.1")
    assert steps_begun(D("15.1") - 15, D("0.1")) == 1


def test_grain_that_came_out_wetter_is_charged_no_points() -> None:
    load = replace(LOAD, moisture_in_pct=D("14"), moisture_out_pct=D("15"))
    charged = line(load, terms())
    assert (charged.points, charged.drying_usd, charged.below_base_usd) == (0, 0, 0)


def test_bands_follow_on_each_other() -> None:
    def found(*given: tuple[str, str | None]) -> list[int]:
        return [place for place, _ in gaps([Band(D(a), None if b is None else D(b), D(1), D(1)) for a, b in given])]

    assert found(("0", "5"), ("5", None)) == found() == []
    assert found(("1", None)) == [0]
    assert found(("0", "5"), ("6", None)) == found(("0", "5"), ("4", None)) == found(("0", None), ("5", None)) == [1]
    assert found(("0", "0"), ("0", None)) == [0]
    assert found(("0", "5")) == [0]


def decimals(low: str, high: str, places: int) -> st.SearchStrategy[D]:
    return st.decimals(D(low), D(high), places=places)


@st.composite
def some_bands(draw: Any) -> list[dict[str, str | None]]:
    ends = sorted(draw(st.lists(decimals("0.1", "15", 1), max_size=3, unique=True)))
    starts = [D(0), *ends]
    return bands(
        *[
            (
                str(start),
                str(end) if end is not None else None,
                str(draw(st.sampled_from(["0.1", "0.5", "1", "0.3"]))),
                str(draw(decimals("0", "0.1", 6))),
            )
            for start, end in zip(starts, [*ends, None], strict=True)
        ]
    )


@st.composite
def some_rate(draw: Any) -> dict[str, Any]:
    made: dict[str, Any] = {
        "drying_on": draw(st.sampled_from(["wet_bu", "dry_bu"])),
        "points_counted": draw(st.sampled_from(["removed", "to_base"])),
        "base_moisture_pct": draw(st.none() | decimals("13", "15.5", 2)),
        "moisture_rounding_pct": draw(st.sampled_from([D("0.1"), D("0.01"), D("0.5"), D("0.3")])),
        "bushel_rounding_bu": draw(st.sampled_from([D("0.01"), D("0.1"), D("1"), D("0.03")])),
        "drying_per_point_usd_bu": None,
        "in_usd_bu": draw(st.none() | decimals("0", "0.2", 6)),
        "out_usd_bu": draw(st.none() | decimals("0", "0.2", 6)),
    }
    if draw(st.booleans()):
        made |= {"drying_per_point_usd_bu": draw(decimals("0", "0.1", 6))}
    else:
        made |= {"bands": draw(some_bands())}
    if draw(st.booleans()):
        made |= {"minimum_usd": draw(decimals("0", "100", 6)), "minimum_per": draw(st.sampled_from(["batch", "bu"]))}
    if draw(st.booleans()):
        made |= {
            "surcharge_fuel": "propane",
            "surcharge_above_usd": draw(decimals("0", "3", 4)),
            "surcharge_step_usd": draw(decimals("0.01", "0.5", 3)),
            "surcharge_per_step_usd_bu": draw(decimals("0", "0.01", 6)),
        }
    shrink = draw(st.sampled_from(["", "actual", "factor"]))
    if shrink == "factor":
        made |= {
            "shrink_factor_pct_per_point": draw(decimals("0", "10", 4)),
            "shrink_handling_pct": draw(st.none() | decimals("0", "2", 3)),
        }
    return made | {"shrink": shrink}


some_result = st.fixed_dictionaries(
    {
        "moisture_in_pct": st.floats(5, 45),
        "moisture_out_pct": st.floats(5, 45),
        "base_moisture_pct": st.sampled_from([13.0, 14.0, 15.0, 15.5]),
        "wet_bu": st.floats(0.001, 1e5),
        "dry_bu": st.floats(0.001, 1e5),
        "market_bu": st.floats(0.001, 1e5),
    }
)


def charged(result: dict[str, float], rate: dict[str, Any], gas: D | None) -> Line:
    figures = {name: published(value) for name, value in result.items()}
    base = rate["base_moisture_pct"]
    load = Load(**figures | {"base_moisture_pct": figures["base_moisture_pct"] if base is None else base}, gas_usd=gas)
    return line(load, terms(**rate))


@given(result=some_result, rate=some_rate(), gas=decimals("0", "5", 4))
def test_every_rate_as_plain_fractions_have_it(result: dict[str, float], rate: dict[str, Any], gas: D) -> None:
    found = charged(result, rate, gas)
    for name, value in charges(result, rate, gas).items():
        assert Fraction(getattr(found, name)) == value, name


@given(results=st.lists(some_result, max_size=6), rate=some_rate(), gas=decimals("0", "5", 4))
def test_parts_add_up_to_the_whole(results: list[dict[str, float]], rate: dict[str, Any], gas: D) -> None:
    lines = [charged(result, rate, gas) for result in results]
    for each in lines:
        assert each.total_usd == each.drying_usd + each.surcharge_usd + each.in_usd + each.out_usd
        assert each.total_usd == each.total_usd.quantize(D("0.01"))
        assert 0 <= each.below_base_usd <= each.drying_usd + each.surcharge_usd
        assert min(each.points_removed, each.points_below_base, each.back_bu) >= 0
    whole = totals(lines)
    assert whole.total_usd == whole.drying_usd + whole.surcharge_usd + whole.in_usd + whole.out_usd
    assert whole.total_usd == sum(each.total_usd for each in lines)
    assert whole.back_bu == sum(each.back_bu for each in lines)
