"""Shrink that laws and an insurer fix, as their texts and those who quote them print it."""

from decimal import Decimal

import pytest

from dryrecords.settlement.rules import rules_of
from dryrecords.settlement.statutes import STATUTES, departure, statutory_shrink_pct

D = Decimal


def shrink(key, crop, moisture, base="15"):
    return statutory_shrink_pct(STATUTES[key], crop, D(moisture), D(base))


def test_iowa_takes_1_18_a_point():
    # Iowa Code 203.20, 203C.25
    assert shrink("US-IA", "corn", "20.5") == D("6.49")


@pytest.mark.parametrize(
    ("key", "dried_to", "base", "pct"),
    [
        # SOR/2018-176, am. SOR/2024-93: wheat is tough from 14.6 %, so no shrink below 14.5
        ("CA", "14.5", "14.5", "2.924"),
        ("CA", "13.8", "14.5", "2.924"),
        # before the order of 2017 the floor was 13.5 (Canadian Grain Commission)
        ("CA-before-2017", "13.8", "13.8", "3.712"),
        ("CA-before-2017", "13.5", "13.5", "4.046"),
        ("CA-before-2017", "12.0", "13.5", "4.046"),
    ],
)
def test_canadian_wheat_from_17(key, dried_to, base, pct):
    exact = shrink(key, "wheat", "17.0", dried_to)
    assert exact.quantize(D("0.001")) == D(pct)
    assert exact == (100 * (17 - D(base)) / (100 - D(base))).quantize(D("0.000001"))


@pytest.mark.parametrize(
    ("crop", "moisture", "pct"),
    [
        # 7 CFR 457.113 section 11(d), as quoted in FAD-213: 0.12 % a tenth above 15, 14, 13; corn 0.2 % above 30
        ("corn", "15.0", "0"),
        ("corn", "15.1", "0.12"),
        ("corn", "20.0", "6.0"),
        ("corn", "30.0", "18.0"),
        ("corn", "30.1", "18.2"),
        ("corn", "35.0", "28.0"),
        ("sorghum", "20.0", "7.2"),
        ("sorghum", "31.0", "20.4"),
        ("soybean", "15.0", "2.4"),
    ],
)
def test_crop_insurance_takes_so_much_a_tenth(crop, moisture, pct):
    assert shrink("crop-insurance", crop, moisture) == D(pct)


def test_1_4_a_point_departs_from_1_2_as_was_disputed():
    # FAD-213: a requestor argued for 0.14 % a tenth because elevators use it
    rules = rules_of({"base_moisture_pct": "15", "shrink": {"method": "factor", "factor_pct_per_point": "1.4"}})
    found = departure(rules, STATUTES["crop-insurance"], "corn", D(20))
    assert (found.applied_pct, found.statutory_pct, found.departs_by_pct) == (7, 6, 1)


def test_two_laws_disagree():
    # at base 15 the exact quotient is 1.176 a point and Iowa's rate 1.18
    assert shrink("CA", "corn", "20") == D("5.882353")
    assert shrink("US-IA", "corn", "20") == D("5.9")
