"""Settlements against worked examples as extension services and the trade printed them."""

from decimal import Decimal

import pytest

from dryrecords.settlement.rules import Load, rules_of, settle
from dryrecords.settlement.terms import Rounding
from dryrecords.settlement.wet_or_dry import OwnDrying, wet_or_dry

D = Decimal


def corn(moisture, gross="56000", price=None, **rules):
    rules = {"base_moisture_pct": "15"} | rules
    return settle(rules_of(rules), Load(D(gross), D(0), D(moisture), None if price is None else D(price), D(56)))


def factor(pct, **more):
    return {"method": "factor", "factor_pct_per_point": pct} | more


def dry_matter(base, **more):
    return {"method": "dry_matter", "base_moisture_pct": base} | more


def charge(per_point):
    return {"per_point_usd_bu": per_point, "on": "wet_bu"}


# final moisture, printed factor a point, decimals
FACTORS = [
    # South Dakota State University, Dillivan 2014
    ("16", "1.190", "0.001"),
    ("15.5", "1.183", "0.001"),
    ("15", "1.176", "0.001"),
    # South Dakota State University, Karki 2020
    ("15.5", "1.18", "0.01"),
    ("15", "1.18", "0.01"),
    ("14", "1.16", "0.01"),
    ("13", "1.15", "0.01"),
    ("12", "1.14", "0.01"),
    ("10", "1.11", "0.01"),
]


@pytest.mark.parametrize(("base", "printed", "step"), FACTORS)
def test_a_point_above_the_base_shrinks_as_printed(base, printed, step):
    one = corn(D(base) + 1, shrink=dry_matter(base), base_moisture_pct=base, rounding={"shrink_pct": step})
    assert str(one.shrink_pct) == printed


@pytest.mark.parametrize(
    ("base", "printed", "step", "rounded", "cut"),
    [
        # Dillivan 2014: 1.169591 and 1.162791 were cut, not rounded
        ("14.5", "1.169", "0.001", "1.170", "1.169"),
        ("14", "1.162", "0.001", "1.163", "1.162"),
        # Karki 2020: 1.123596 is 1.12, rounded or cut
        ("11", "1.13", "0.01", "1.12", "1.12"),
    ],
)
def test_a_printed_factor_that_is_not_rounded_differs(base, printed, step, rounded, cut):
    def shrunk(mode):
        rounding = {"shrink_pct": {"step": step, "mode": mode}}
        return str(corn(D(base) + 1, shrink=dry_matter(base), base_moisture_pct=base, rounding=rounding).shrink_pct)

    assert (shrunk("half_up"), shrunk("down")) == (rounded, cut)
    assert printed != rounded


def test_25_to_15_5_shrinks_as_printed():
    # South Dakota State University, Karki 2020
    one = corn("25", shrink=dry_matter("15.5"), rounding={"shrink_pct": "0.01"})
    assert str(one.shrink_pct) == "11.24"


def test_25_to_15_5_from_a_rounded_factor_was_cut():
    # Dillivan 2014: 9.5 points at 1.183 are 11.2385, printed 11.23
    def shrunk(mode):
        rounding = {"shrink_pct": {"step": "0.01", "mode": mode}}
        return str(corn("25", shrink=factor("1.183", base_moisture_pct="15.5"), rounding=rounding).shrink_pct)

    assert (shrunk("down"), shrunk("half_up")) == ("11.23", "11.24")


def test_20_5_to_15_5():
    # computed with the formula of North Dakota State University 2009
    one = corn("20.5", shrink=dry_matter("15.5"), rounding={"shrink_pct": "0.001"})
    assert str(one.shrink_pct) == "5.917"


def test_1000_lb_of_corn_at_25_5():
    # seed-industry agronomy page, method of NCH-61: 881.66 lb, 17.9 bu wet and 15.8 bu dry
    exact = corn("25.5", "1000", shrink=dry_matter("15.5"), rounding={"bu": "0.0001"})
    # a thousand times the load, because bushels are counted to four decimals at most
    thousandfold = corn("25.5", "1000000", shrink=dry_matter("15.5"), rounding={"bu": "0.0001"})
    assert (thousandfold.net_bu * 56 / 1000).quantize(D("0.01")) == D("881.66")
    # 15.8 is what tenths of wet bushels leave; the exact load is 15.74
    tenths = corn("25.5", "1000", shrink=dry_matter("15.5"), rounding={"bu": "0.1"})
    assert (str(tenths.wet_bu), str(tenths.net_bu)) == ("17.9", "15.8")
    assert exact.net_bu.quantize(D("0.01")) == D("15.74")


def test_1000_lb_of_corn_at_25_5_with_handling():
    # same page: 12.33 %, 876.7 lb, 15.6 bu
    one = corn("25.5", "1000", shrink=dry_matter("15.5", handling_pct="0.5"), rounding={"bu": "0.0001"})
    assert one.shrink_pct.quantize(D("0.01")) == D("12.33")
    assert (one.net_bu * 56).quantize(D("0.1")) == D("876.7")
    # 15.6546 bu: the page cut the tenth, rounding gives 15.7
    assert one.net_bu.quantize(D("0.1")) == D("15.7")
    assert one.net_bu // D("0.1") * D("0.1") == D("15.6")


@pytest.mark.parametrize("shrink", [factor("1.176"), dry_matter("15")])
def test_field_guide_load(shrink):
    # Purdue University field guide: 56,000 lb at 26 % are 870.6 bu at 15 %
    one = corn("26", shrink=shrink, rounding={"bu": "0.1"})
    assert (str(one.wet_bu), str(one.net_bu)) == ("1000.0", "870.6")
    # it prints 129.6 bu of water, from rounded inputs; the two would not add up to the load
    assert str(one.shrink_bu) == "129.4"


def test_field_guide_load_is_not_the_one_its_text_begins_with():
    # same: the text starts at 46,000 lb and then takes 1,000 bu, which are 56,000 lb
    assert str(corn("26", "46000", shrink=dry_matter("15"), rounding={"bu": "0.1"}).net_bu) == "715.1"


def test_acre_of_190_bushels():
    # University of Illinois farmdoc FEFO 09-16: 216 bu at 25 % are 190 bu at 15 % with 0.25 % handling
    wet_lb = str(216 * 56)
    own = corn("25", wet_lb, shrink=dry_matter("15", handling_pct="0.25"), rounding={"bu": "1"})
    assert str(own.net_bu) == "190"
    # delivered at a flat 1.4: 186, below 190 because 1.4 is more than the water
    sold = corn("25", wet_lb, shrink=factor("1.4"), rounding={"bu": "1"})
    assert str(sold.net_bu) == "186"


def test_1000_bushels_at_20_by_an_insurers_factor():
    # insurance-agency page that quotes the factor of the Risk Management Agency: 1.2 a point leaves 940
    assert corn("20", shrink=factor("1.2")).net_bu == 940


# computed for a published comparison of flat factors, 1,000 wet bu to 15 %: common practice, no source
FLAT = [
    ("17", "976.47", {"1.18": "976.4", "1.25": "975.0", "1.4": "972.0", "1.5": "970.0"}),
    ("20", "941.18", {"1.18": "941.0", "1.25": "937.5", "1.4": "930.0", "1.5": "925.0"}),
    ("25", "882.35", {"1.18": "882.0", "1.25": "875.0", "1.4": "860.0", "1.5": "850.0"}),
    ("30", "823.53", {"1.18": "823.0", "1.25": "812.5", "1.4": "790.0", "1.5": "775.0"}),
]


@pytest.mark.parametrize(("moisture", "true_bu", "flat"), FLAT)
def test_flat_factors_beside_true_shrink(moisture, true_bu, flat):
    assert corn(moisture, shrink=dry_matter("15")).net_bu == D(true_bu)
    assert {pct: corn(moisture, shrink=factor(pct)).net_bu for pct in flat} == {pct: D(bu) for pct, bu in flat.items()}


# 7 CFR 868.308, rounding of percentages to tenths
@pytest.mark.parametrize(
    ("given", "printed"), [("6.36", "6.4"), ("0.35", "0.4"), ("2.45", "2.5"), ("8.34", "8.3"), ("1.22", "1.2")]
)
def test_percentages_are_rounded_as_the_department_of_agriculture_rounds(given, printed):
    assert str(Rounding(D("0.1")).of(D(given))) == printed
    one = corn(given, moisture_rounding={"step_pct": "0.1"})
    assert str(one.moisture_used_pct) == printed


def test_neither_half_to_even_nor_a_double_is_how_the_department_of_agriculture_rounds():
    # 7 CFR 868.308: 2.45 is 2.5, and half to even makes it 2.4; 0.35 is 0.4, and as the nearest double it is below
    assert str(Rounding(D("0.1"), "half_even").of(D("2.45"))) == "2.4"
    assert f"{0.35:.1f}" == "0.3"


# Iowa State University, TeBockhorst & Shouse 2019: 56,000 lb at 20.5 %, base 15, $3.50
TWO_PCT = [{"above_pct": "15", "step_pct": "0.1", "per_step_pct_of_price": "0.2"}]


def test_sell_wet_by_discount():
    one = corn("20.5", price="3.50", discount=TWO_PCT, rounding={"usd_bu": "0.01"})
    # 11 % of $3.50 is $0.385, printed as $0.39 and then multiplied
    assert (str(one.moisture_discount_usd_bu), str(one.net_amount_usd)) == ("0.39", "3110.00")


def test_sell_wet_by_discount_rounded_last_is_five_dollars_more():
    one = corn("20.5", price="3.50", discount=TWO_PCT, rounding={"usd_bu": "0.001"})
    assert (str(one.moisture_discount_usd_bu), str(one.net_amount_usd)) == ("0.385", "3115.00")


def test_sell_wet_by_drying_charge():
    assert str(corn("20.5", price="3.50", drying_charge=charge("0.048")).drying_charge_usd) == "264.00"


@pytest.mark.parametrize(("pct", "bu", "usd"), [("1.18", "935.10", "3008.85"), ("1.40", "923.00", "2966.50")])
def test_sell_wet_by_drying_charge_and_shrink(pct, bu, usd):
    # carried on by hand from the same example
    one = corn("20.5", price="3.50", drying_charge=charge("0.048"), shrink=factor(pct))
    assert (str(one.net_bu), str(one.net_amount_usd)) == (bu, usd)


def test_sell_wet_or_dry():
    # the same example carried on by hand: true shrink and 0.5 % handling, 0.02 gal and 0.01 kWh a point and bushel
    rules = rules_of({"base_moisture_pct": "15", "discount": TWO_PCT, "rounding": {"bu": "0.001", "usd_bu": "0.001"}})
    own = OwnDrying(D(15), D("0.02"), D("1.20"), D("0.5"), D("0.01"), D("0.12"))
    both = wet_or_dry(rules, Load(D(56000), D(0), D("20.5"), D("3.50"), D(56)), own)
    assert (str(both.dry.net_bu), str(both.dry.gross_usd)) == ("930.294", "3256.03")
    assert (both.gas_gal, both.electricity_kwh) == (110, 55)
    assert both.gain_usd == D("3256.03") - 110 * D("1.20") - 55 * D("0.12") - 3115


def test_cost_of_gas_is_the_printed_one():
    # North Dakota State University, Hellevang: 0.022 gal a point and bushel; $1 x 0.022 x 120 bu x 10 points = $26;
    # at $1.90 ten points are 42 cents a bushel
    rules = rules_of({"base_moisture_pct": "15"})
    batch = Load(D(120 * 56), D(0), D(25), D("3.50"), D(56))
    assert wet_or_dry(rules, batch, OwnDrying(D(15), D("0.022"), D(1))).gas_usd == D("26.40")
    bushel = Load(D(56), D(0), D(25), D("3.50"), D(56))
    assert wet_or_dry(rules, bushel, OwnDrying(D(15), D("0.022"), D("1.90"))).gas_usd == D("0.42")
