"""Each rule of a schedule alone, on invented loads whose figures are worked out by hand beside them."""

from decimal import Decimal

import pytest

from dryrecords.settlement.rules import Load, LoadInvalid, rules_of, settle, table

D = Decimal


def load(moisture, price="4.00", gross="80000", tare="24000", bushel="56"):
    """1,000 bushels of corn unless told otherwise."""
    return Load(D(gross), D(tare), D(moisture), None if price is None else D(price), D(bushel))


def settled(moisture, price="4.00", **rules):
    return settle(rules_of({"base_moisture_pct": "15"} | rules), load(moisture, price))


def factor(pct="1.4", **more):
    return {"method": "factor", "factor_pct_per_point": pct} | more


def steps(*bands, name="per_step_usd_bu"):
    return [
        {"above_pct": above, "up_to_pct": up_to, "step_pct": step, name: amount} for above, up_to, step, amount in bands
    ]


def test_without_rules_all_wet_bushels_are_paid():
    one = settled("19.4")
    assert (one.wet_bu, one.net_bu, one.gross_usd, one.net_amount_usd) == (1000, 1000, 4000, 4000)
    assert [line.what for line in one.lines] == ["wet bushels", "net bushels"]


def test_decimals_are_those_of_the_roundings():
    one = settled("19.44", shrink=factor(), rounding={"bu": "0.001", "usd_bu": "0.01", "shrink_pct": "0.01"})
    assert [str(x) for x in (one.wet_bu, one.shrink_pct, one.shrink_bu, one.net_bu)] == [
        "1000.000",
        "6.22",
        "62.200",
        "937.800",
    ]
    assert (str(one.moisture_discount_usd_bu), str(one.gross_usd), str(one.net_amount_usd)) == (
        "0.00",
        "3751.20",
        "3751.20",
    )


@pytest.mark.parametrize(
    ("mode", "measured", "used"),
    [
        ("half_up", "15.05", "15.1"),
        ("half_up", "15.04", "15.0"),
        ("half_even", "15.05", "15.0"),
        ("half_even", "15.15", "15.2"),
        ("half_even", "15.051", "15.1"),
        ("up", "15.001", "15.1"),
        ("up", "15.1", "15.1"),
        ("down", "15.099", "15.0"),
    ],
)
def test_moisture_is_rounded_first(mode, measured, used):
    one = settled(measured, moisture_rounding={"step_pct": "0.1", "mode": mode}, shrink=factor("1"))
    assert str(one.moisture_used_pct) == used
    assert one.shrink_pct == D(used) - 15


def test_moisture_may_be_cut_to_the_lower_half_point():
    # common practice of some scales, no source
    one = settled("17.9", moisture_rounding={"step_pct": "0.5", "mode": "down"})
    assert one.moisture_used_pct == D("17.5")


@pytest.mark.parametrize(("mode", "wet"), [("half_up", "5.4"), ("half_even", "5.4"), ("up", "5.4"), ("down", "5.3")])
def test_wet_bushels_are_rounded_by_their_mode(mode, wet):
    # 299.6 lb / 56 = 5.35
    rules = rules_of({"base_moisture_pct": "15", "rounding": {"bu": {"step": "0.1", "mode": mode}}})
    assert settle(rules, load("12", gross="299.6", tare="0")).wet_bu == D(wet)


def test_factor_shrink_counts_parts_of_points_and_handling():
    one = settled("18.3", shrink=factor("1.4", handling_pct="0.25"))
    assert one.shrink_pct == D("3.3") * D("1.4") + D("0.25")
    assert (one.shrink_bu, one.net_bu) == (D("48.7"), D("951.3"))


def test_dry_matter_shrink_keeps_the_dry_matter():
    # 1,000 bu at 20 % hold 800 of dry matter, which are 1,000 x 80 / 85 at 15 %
    one = settled("20", shrink={"method": "dry_matter"})
    assert one.shrink_pct == D("5.882353")
    assert one.net_bu == D("941.18")


def test_shrink_has_a_base_of_its_own():
    assert settled("15", shrink=factor(base_moisture_pct="14")).shrink_pct == D("1.4")


def test_handling_is_lost_only_above_the_base():
    shrink = factor(handling_pct="0.5")
    assert settled("15", shrink=shrink).shrink_pct == 0
    assert settled("15.001", shrink=shrink).shrink_pct == D("0.5014")


@pytest.mark.parametrize(
    ("shrink", "pct", "net"),
    [
        (factor("1.2"), "0", "1000"),
        (factor("1.2", below_base="credit"), "-2.4", "1024"),
        ({"method": "dry_matter"}, "0", "1000"),
        ({"method": "dry_matter", "below_base": "credit"}, "-2.352941", "1023.53"),
    ],
)
def test_grain_below_the_base_gets_nothing_or_a_credit(shrink, pct, net):
    one = settled("13", shrink=shrink)
    assert (one.shrink_pct, one.net_bu) == (D(pct), D(net))


@pytest.mark.parametrize(("mode", "bu"), [("half_up", "-0.3"), ("half_even", "-0.2"), ("up", "-0.3"), ("down", "-0.2")])
def test_a_credit_is_rounded_by_its_size(mode, bu):
    # 0.25 bu of 12.5 bu: 2 % at 1 % a point
    rules = rules_of(
        {
            "base_moisture_pct": "15",
            "shrink": factor("1", below_base="credit"),
            "rounding": {"bu": {"step": "0.1", "mode": mode}},
        }
    )
    assert settle(rules, load("13", gross="700", tare="0")).shrink_bu == D(bu)


def test_shrink_is_never_more_than_everything():
    one = settled("99", shrink=factor("1.5"))
    assert (one.shrink_pct, one.net_bu, one.gross_usd) == (100, 0, 0)


@pytest.mark.parametrize(
    ("moisture", "usd_bu"),
    [
        ("15", "0"),
        ("15.001", "0.02"),
        ("15.5", "0.02"),
        ("15.6", "0.04"),
        ("16", "0.04"),
        ("16.1", "0.09"),
        ("18", "0.14"),
    ],
)
def test_a_started_step_counts_whole_and_bands_add_up(moisture, usd_bu):
    one = settled(moisture, discount=steps(("15", "16", "0.5", "0.02"), ("16", None, "1", "0.05")))
    assert one.moisture_discount_usd_bu == D(usd_bu)
    assert one.moisture_discount_usd == 1000 * D(usd_bu)
    assert one.net_amount_usd == 4000 - 1000 * D(usd_bu)


def test_a_discount_may_be_a_part_of_the_price():
    one = settled("17", price="3.97", discount=steps(("15", None, "0.5", "0.75"), name="per_step_pct_of_price"))
    # 4 steps, 3 % of 3.97
    assert one.moisture_discount_usd_bu == D("0.1191")


def test_dollars_and_parts_of_the_price_are_rounded_together():
    bands = steps(("15", "16", "1", "0.00005")) + steps(("16", None, "1", "0.001"), name="per_step_pct_of_price")
    # 0.00005 + 0.00005: each alone would be rounded up to 0.0001
    assert settled("17", price="5", discount=bands).moisture_discount_usd_bu == D("0.0001")


def test_a_discount_lowers_the_price_of_the_bushels_that_are_paid():
    one = settled("20", shrink=factor("2"), discount=steps(("15", None, "1", "0.01")))
    assert (one.net_bu, one.moisture_discount_usd, one.net_amount_usd) == (900, 45, 3555)


def test_a_load_at_the_rejection_limit_is_bought_and_one_above_is_not():
    rules = {
        "moisture_rounding": {"step_pct": "0.1"},
        "shrink": factor(),
        "drying_charge": {"per_point_usd_bu": "0.04", "on": "wet_bu"},
        "reject_above_pct": "25",
    }
    assert not settled("25.04", **rules).rejected
    one = settled("25.05", **rules)
    assert one.rejected
    assert (one.wet_bu, one.moisture_used_pct) == (1000, D("25.1"))
    nothing = {"shrink_pct", "shrink_bu", "net_bu", "drying_charge_usd", "gross_usd", "net_amount_usd"}
    assert {getattr(one, name) for name in nothing} == {0}
    assert [(line.what, line.quantity) for line in one.lines] == [("rejected for moisture", 1000)]


@pytest.mark.parametrize(("on", "usd"), [("wet_bu", "200.00"), ("net_bu", "186.00")])
def test_drying_is_charged_on_wet_or_on_net_bushels(on, usd):
    one = settled("20", shrink=factor(), drying_charge={"per_point_usd_bu": "0.04", "on": on})
    assert one.drying_charge_usd == D(usd)
    assert one.net_amount_usd == 3720 - D(usd)
    assert one.lines[-1].what == f"drying charge on {on[:3]} bushels"


def test_drying_charge_has_a_base_of_its_own():
    charge = {"per_point_usd_bu": "0.04", "base_moisture_pct": "16", "on": "wet_bu"}
    assert settled("18", drying_charge=charge).drying_charge_usd_bu == D("0.08")
    assert settled("16", drying_charge=charge).drying_charge_usd_bu == 0


@pytest.mark.parametrize(("moisture", "usd_bu"), [("15", "0"), ("15.1", "0.1"), ("17.4", "0.1"), ("17.6", "0.104")])
def test_a_minimum_counts_once_there_is_something_to_dry(moisture, usd_bu):
    charge = {"per_point_usd_bu": "0.04", "on": "wet_bu", "minimum_usd_bu": "0.10"}
    assert settled(moisture, drying_charge=charge).drying_charge_usd_bu == D(usd_bu)


def test_a_minimum_counts_before_the_first_band_begins():
    bands = steps(("15.5", None, "0.5", "0.03"))
    charge = {"bands": bands, "on": "wet_bu", "minimum_usd_bu": "0.05"}
    assert [settled(m, drying_charge=charge).drying_charge_usd_bu for m in ("15", "15.2", "15.6", "16.1")] == [
        0,
        D("0.05"),
        D("0.05"),
        D("0.06"),
    ]


def test_rates_are_rounded_before_they_are_multiplied():
    rules = {"discount": steps(("15", None, "0.1", "0.0055")), "rounding": {"usd_bu": "0.01"}}
    # 0.0055 is 0.01 a bushel
    assert settled("15.1", **rules).moisture_discount_usd == 10


def test_without_a_price_charges_are_owed():
    one = settled("20", price=None, shrink=factor(), drying_charge={"per_point_usd_bu": "0.04", "on": "wet_bu"})
    assert (one.net_bu, one.gross_usd, one.net_amount_usd) == (930, 0, -200)


def test_lines_say_how_the_amount_comes_about():
    one = settled(
        "20",
        shrink=factor(),
        discount=steps(("15", None, "5", "0.10")),
        drying_charge={"per_point_usd_bu": "0.04", "on": "wet_bu"},
    )
    assert [(line.what, line.quantity, line.rate, line.usd) for line in one.lines] == [
        ("wet bushels", 1000, None, None),
        ("shrink", -70, 7, None),
        ("net bushels", 930, 4, 3720),
        ("moisture discount", 930, D("-0.10"), -93),
        ("drying charge on wet bushels", 1000, D("-0.20"), -200),
    ]
    assert sum(line.usd or 0 for line in one.lines) == one.net_amount_usd == 3427


IMPOSSIBLE = [
    (load("20", gross="-1"), "/gross_lb", "out_of_range"),
    (load("20", gross="10000000.01"), "/gross_lb", "out_of_range"),
    (load("20", gross="80000.001"), "/gross_lb", "too_exact"),
    (load("20", tare="80001"), "/tare_lb", "above_gross"),
    (load("100"), "/moisture_pct", "out_of_range"),
    (load("NaN"), "/moisture_pct", "out_of_range"),
    (load("20.0001"), "/moisture_pct", "too_exact"),
    (load("20", price="1000.01"), "/price_usd_bu", "out_of_range"),
    (load("20", price=None), "/price_usd_bu", "required"),
    (load("20", bushel="0"), "/bushel_lb", "out_of_range"),
]


@pytest.mark.parametrize(("impossible", "pointer", "code"), IMPOSSIBLE)
def test_an_impossible_load_is_refused(impossible, pointer, code):
    bands = steps(("15", None, "1", "1"), name="per_step_pct_of_price")
    with pytest.raises(LoadInvalid) as refused:
        settle(rules_of({"base_moisture_pct": "15", "discount": bands}), impossible)
    assert [(error.pointer, error.code) for error in refused.value.errors] == [(pointer, code)]


def test_table_runs_from_the_lowest_base_to_rejection():
    rules = rules_of(
        {
            "base_moisture_pct": "15",
            "shrink": factor(base_moisture_pct="14"),
            "discount": steps(("15", None, "0.5", "1"), name="per_step_pct_of_price"),
            "drying_charge": {"per_point_usd_bu": "0.04", "on": "wet_bu"},
            "reject_above_pct": "18",
        }
    )
    rows = table(rules, D(56))
    assert (rows[0].moisture_pct, rows[-1].moisture_pct, len(rows)) == (14, 18, 41)
    last = rows[-1]
    assert (last.shrink_pct, last.discount_usd_bu, last.discount_pct_of_price, last.drying_charge_usd_bu) == (
        D("5.6"),
        0,
        6,
        D("0.12"),
    )
    # 56 / 0.944
    assert last.lb_per_net_bu == D("59.32")


def test_table_without_a_rejection_limit_ends_fifteen_points_up():
    rows = table(rules_of({"base_moisture_pct": "15", "moisture_rounding": {"step_pct": "0.5"}}), D(56))
    assert (rows[0].moisture_pct, rows[-1].moisture_pct, len(rows)) == (15, 30, 31)


def test_table_may_be_asked_for_other_moistures():
    rows = table(rules_of({"base_moisture_pct": "15"}), D(56), step_pct=D(1), up_to_pct=D(18))
    assert [row.moisture_pct for row in rows] == [15, 16, 17, 18]


def test_table_says_no_pounds_where_nothing_is_paid():
    rules = rules_of({"base_moisture_pct": "15", "shrink": factor("5")})
    assert table(rules, D(56), step_pct=D(20), up_to_pct=D(35))[-1].lb_per_net_bu is None
