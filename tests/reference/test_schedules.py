"""Discount schedules as buyers posted them, as anonymous forms: every cell that could be read.

Schedule A 2023, B 2010 (two archived versions), C October 2009, D 2018-19, E 2024-25.
"""

from decimal import Decimal

import pytest

from dryrecords.settlement.rules import Load, rules_of, settle, table

D = Decimal
TENTHS = {"step_pct": "0.1", "mode": "half_up"}


def schedule(**rules):
    return rules_of({"base_moisture_pct": "15", "moisture_rounding": TENTHS} | rules)


def by_steps(step, *bands, on="wet_bu"):
    said = [
        {"above_pct": above, "up_to_pct": up_to, "step_pct": step, "per_step_usd_bu": usd}
        for above, up_to, usd in bands
    ]
    return {"bands": said, "on": on}


def charge(rules, moisture):
    return rules.drying_usd_bu(rules.moisture_used_pct(D(moisture)))


A = schedule(
    shrink={"method": "factor", "factor_pct_per_point": "1.5", "base_moisture_pct": "14.5"},
    drying_charge=by_steps("0.5", ("15", "15.5", "0.06"), ("15.5", "17.5", "0.01"), ("17.5", None, "0.02")),
    rounding={"bu": "0.001"},
)

# moisture, drying charge [USD/bu], shrink [fraction]; 17.5 and 17.6 from the rule in its text
A_CELLS = [
    ("15.0", "0", "0.0075"),
    ("15.1", "0.06", "0.0090"),
    ("15.5", "0.06", "0.0150"),
    ("15.6", "0.07", "0.0165"),
    ("17.5", "0.10", "0.0450"),
    ("17.6", "0.12", "0.0465"),
    ("20.0", "0.20", "0.0825"),
    ("20.1", "0.22", "0.0840"),
    ("25.5", "0.42", "0.1650"),
    ("26.0", "0.44", "0.1725"),
    ("27.5", "0.50", "0.1950"),
    ("27.6", "0.52", "0.1965"),
]


@pytest.mark.parametrize(("moisture", "usd_bu", "shrink"), A_CELLS)
def test_schedule_a(moisture, usd_bu, shrink):
    row = next(row for row in table(A, D(56), up_to_pct=D(28)) if row.moisture_pct == D(moisture))
    assert (row.drying_charge_usd_bu, row.shrink_pct) == (D(usd_bu), 100 * D(shrink))


def test_schedule_a_measured_beside_its_brackets():
    # brackets are printed in tenths: 15.04 is 15.0 and free, 15.05 is 15.1 and charged
    assert (charge(A, "15.04"), charge(A, "15.05")) == (0, D("0.06"))


def test_schedule_a_averaged_before_it_is_charged():
    # equal loads at 15.0 and 17.6: 6 cents a bushel load by load, 8 cents when averaged first
    assert (charge(A, "15.0") + charge(A, "17.6")) / 2 == D("0.06")
    assert charge(A, "16.3") == D("0.08")


def test_schedule_a_settles_a_load():
    # computed by hand from its rules: 52,360 lb at 20.3 %, $4.20
    one = settle(A, Load(D(52360), D(0), D("20.3"), D("4.20"), D(56)))
    assert (one.wet_bu, one.shrink_pct, one.net_bu) == (935, D("8.7"), D("853.655"))
    assert (one.drying_charge_usd, one.gross_usd, one.net_amount_usd) == (D("205.70"), D("3585.35"), D("3379.65"))


def test_schedule_a_against_true_shrink():
    # the same load by dry matter to 15 and 0.5 % handling, at the same charge of $0.22
    true = schedule(
        shrink={"method": "dry_matter", "handling_pct": "0.5"},
        drying_charge=by_steps("0.5", ("15", "15.5", "0.06"), ("15.5", "17.5", "0.01"), ("17.5", None, "0.02")),
        rounding={"bu": "0.001"},
    )
    one = settle(true, Load(D(52360), D(0), D("20.3"), D("4.20"), D(56)))
    assert (one.net_bu, one.net_amount_usd) == (D("872.025"), D("3456.81"))
    # unrounded 77.154; both rounded to cents first 77.16
    assert one.net_amount_usd - D("3379.65") == D("77.16")


B = schedule(
    shrink={"method": "factor", "factor_pct_per_point": "1.4"},
    drying_charge=by_steps(
        "0.1",
        ("15", "18", "0.004"),
        ("18", "19", "0.003"),
        ("19", "20", "0.00375"),
        ("20", "21", "0.00225"),
        ("21", "22", "0.0035"),
        ("22", "23", "0.001"),
        ("23", "24", "0.0015"),
        ("24", None, "0.003"),
    ),
)


# by its own rates a point, rounded half up to four decimals as it prints them
@pytest.mark.parametrize(
    ("moisture", "usd_bu"),
    [
        ("15", "0"),
        ("18", "0.12"),
        ("19", "0.15"),
        ("19.1", "0.1538"),
        ("20", "0.1875"),
        ("20.1", "0.1898"),
        ("21", "0.21"),
        ("22", "0.245"),
        ("23", "0.255"),
        ("24", "0.27"),
        ("25", "0.30"),
    ],
)
def test_schedule_b(moisture, usd_bu):
    assert charge(B, moisture) == D(usd_bu)


def test_schedule_b_differs_from_its_misprint():
    # one version prints .2678 at 23.8, between .2655 and .2685 of its own line, which gives .2670
    assert charge(B, "23.8") == D("0.2670") != D("0.2678")
    assert (charge(B, "23.7"), charge(B, "23.9")) == (D("0.2655"), D("0.2685"))


def test_schedule_b_never_falls_as_its_other_version_does():
    # the other version falls from 23.4 to 23.5: no steps that add up can do so
    charges = [row.drying_charge_usd_bu for row in table(B, D(56))]
    assert charges == sorted(charges)
    assert charge(B, "23.5") > charge(B, "23.4")


C = schedule(
    drying_charge=by_steps("1", ("15", "18", "0.04"), ("18", "22", "0.03"), ("22", "25", "0.02")), reject_above_pct="25"
)


@pytest.mark.parametrize(
    ("moisture", "cents"),
    [
        ("15.0", 0),
        ("15.1", 4),
        ("16.0", 4),
        ("16.1", 8),
        ("18.0", 12),
        ("19.4", 18),
        ("22.0", 24),
        ("24.0", 28),
        ("25.0", 30),
    ],
)
def test_schedule_c(moisture, cents):
    assert 100 * charge(C, moisture) == cents


D_STORED, D_SOLD = (
    schedule(
        base_moisture_pct=base,
        shrink={"method": "factor", "factor_pct_per_point": "1.5"},
        drying_charge={"per_point_usd_bu": "0.0375", "on": "wet_bu"},
    )
    for base in ("14", "15")
)


def test_schedule_d_has_a_base_for_grain_sold_and_one_for_grain_stored():
    load = Load(D(56000), D(0), D(20), D(4), D(56))
    sold, stored = settle(D_SOLD, load), settle(D_STORED, load)
    # 1.5 % and 3.75 cents a point on 1,000 wet bushels
    assert (sold.net_bu, sold.drying_charge_usd) == (925, D("187.50"))
    assert (stored.net_bu, stored.drying_charge_usd) == (910, D("225.00"))


def of_price(*bands):
    return [
        {"above_pct": above, "up_to_pct": up_to, "step_pct": "0.1", "per_step_pct_of_price": pct}
        for above, up_to, pct in bands
    ]


# soybeans: D 2 % a point to 15 and 3 % above, prorated to tenths; E 3 % to 15 and 6 % above
D_SOY = schedule(base_moisture_pct="13", discount=of_price(("13", "15", "0.2"), ("15", None, "0.3")))
E_SOY = schedule(base_moisture_pct="13", discount=of_price(("13", "15", "0.3"), ("15", None, "0.6")))


@pytest.mark.parametrize(
    ("rules", "moisture", "pct"),
    [
        (D_SOY, "13.1", "0.2"),
        (D_SOY, "15.0", "4"),
        (D_SOY, "15.1", "4.3"),
        (D_SOY, "16.0", "7"),
        (E_SOY, "13.1", "0.3"),
        (E_SOY, "15.0", "6"),
        (E_SOY, "15.1", "6.6"),
    ],
)
def test_soybeans_by_tiers(rules, moisture, pct):
    assert rules.discount_parts(D(moisture)) == (0, D(pct))


E_CHARGE = by_steps("1", ("15", "20", "0.05"), ("20", None, "0.02"))
E_SOLD, E_STORED = (
    schedule(
        shrink={"method": "factor", "factor_pct_per_point": "1.4", "base_moisture_pct": base}, drying_charge=E_CHARGE
    )
    for base in ("15", "14")
)


@pytest.mark.parametrize(
    ("moisture", "cents"),
    [("16", 5), ("17", 10), ("18.0", 15), ("18.1", 20), ("20", 25), ("21", 27), ("22.4", 31), ("25.0", 35), ("26", 37)],
)
def test_schedule_e(moisture, cents):
    assert 100 * charge(E_SOLD, moisture) == cents


def test_schedule_e_dries_stored_grain_to_15_and_shrinks_it_to_14():
    sold, stored = (settle(rules, Load(D(56000), D(0), D(18), D(4), D(56))) for rules in (E_SOLD, E_STORED))
    assert (sold.drying_charge_usd, stored.drying_charge_usd) == (150, 150)
    assert (sold.shrink_pct, stored.shrink_pct) == (D("4.2"), D("5.6"))
