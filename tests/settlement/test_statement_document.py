"""The document of a statement: every load charged or named, amounts that come out again from results and rates."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.core.ids import new_id
from dryrecords.season.selectors import BatchResultView
from dryrecords.settlement.statement_document import Document, document_of
from dryrecords.settlement.statement_facts import Held
from dryrecords.settlement.statement_print import printed
from tests.settlement import seasons
from tests.settlement.plain_rates import charges
from tests.settlement.seasons import BEGAN, facts, lot, rate, view

SURCHARGE = {
    "surcharge_fuel": "propane",
    "surcharge_above_usd": D("1.6"),
    "surcharge_step_usd": D("0.1"),
    "surcharge_per_step_usd_bu": D("0.002"),
}
BANDS = [
    {"above_points": "0", "up_to_points": "5", "step_points": "1", "per_step_usd_bu": "0.05"},
    {"above_points": "5", "up_to_points": None, "step_points": "1", "per_step_usd_bu": "0.02"},
]
MONEY = ("drying_usd", "surcharge_usd", "in_usd", "out_usd", "total_usd", "below_base_usd")
BUSHELS = ("wet_bu", "dry_bu", "back_bu")


def loads_of(document: Document) -> list[Document]:
    return [load for section in document["lots"] for load in section["loads"]]


def codes(document: Document) -> list[str]:
    return [each["code"] for each in document["unresolved"]]


@given(
    wet=st.lists(st.tuples(st.floats(14, 30), st.floats(11, 18), st.floats(1, 5000)), min_size=1, max_size=8),
    own=st.fixed_dictionaries(
        {
            "drying_on": st.sampled_from(["wet_bu", "dry_bu"]),
            "drying_per_point_usd_bu": st.decimals(D(0), D("0.1"), places=6),
            "in_usd_bu": st.none() | st.decimals(D(0), D("0.1"), places=6),
            "out_usd_bu": st.none() | st.decimals(D(0), D("0.1"), places=6),
            "minimum_usd": st.just(D("60")),
            "minimum_per": st.just("batch"),
            "shrink": st.sampled_from(["", "actual"]),
        }
    ),
    gas=st.decimals(D(1), D(3), places=4),
)
def test_it_reconciles_with_results_and_rates_to_the_cent(wet: Any, own: dict[str, Any], gas: D) -> None:
    views = [view(n, moisture_in=i, moisture_out=o, wet_bu=b) for n, (i, o, b) in enumerate(wet)]
    terms = own | SURCHARGE
    document = document_of(facts(views, rate(**terms), gas_usd=gas))
    by_batch = {str(each.batch.pk): each.result for each in views}
    sums = dict.fromkeys((*MONEY, *BUSHELS), Fraction(0))
    for load in loads_of(document):
        result = by_batch.pop(load["batch"])
        assert result is not None
        for name, value in charges(vars(result), terms, gas).items():
            assert Fraction(load[name]) == value, name
            if name in sums:
                sums[name] += value
    assert by_batch == {}
    totals = document["totals"]
    assert {name: Fraction(totals[name]) for name in MONEY} == {name: sums[name] for name in MONEY}
    (corn,) = totals["by_crop"]
    assert {name: Fraction(corn[name]) for name in BUSHELS} == {name: sums[name] for name in BUSHELS}
    assert Fraction(totals["total_usd"]) == sum(
        Fraction(totals[name]) for name in ("drying_usd", "surcharge_usd", "in_usd", "out_usd")
    )


GOOD, WET_MISSING, STALE, WHEAT, FAILED = "good", "figures_missing", "not_fresh", "no_rate", "failed"


def batch_of(kind: str, number: int) -> BatchResultView:
    if kind == WET_MISSING:
        return view(number, moisture_in=None)
    if kind == FAILED:
        good = view(number)
        return BatchResultView(good.batch, good.result, False, "division by zero")
    return view(number, fresh=kind != STALE, crop="wheat" if kind == WHEAT else "corn")


@given(st.lists(st.sampled_from([GOOD, WET_MISSING, STALE, WHEAT, FAILED]), max_size=12))
def test_every_load_is_charged_or_named(kinds: list[str]) -> None:
    views = [batch_of(kind, number) for number, kind in enumerate(kinds)]
    document = document_of(facts(views, rate(crop="corn")))
    assert codes(document) == [kind for kind in kinds if kind != GOOD]
    named = [each["batch"] for each in document["unresolved"]]
    charged = [load["batch"] for load in loads_of(document)]
    assert sorted(named + charged) == sorted(str(each.batch.pk) for each in views)
    assert [load["load"] for load in loads_of(document)] == list(range(1, len(charged) + 1))
    printed(document | {"number": None, "issued_at": None, "corrects": None})


def test_why_a_load_is_not_charged() -> None:
    never = BatchResultView(view(1).batch, None, False, "")
    views = [view(0, moisture_in=None, moisture_out=None), never, view(2, crop="wheat")]
    document = document_of(facts(views, rate(crop="corn", **SURCHARGE)))
    assert codes(document) == ["figures_missing", "not_fresh", "no_rate"]
    assert document["unresolved"][0]["fields"] == ["moisture_in_pct", "moisture_out_pct"]
    assert "moisture of the wet grain, moisture of the dried grain" in document["unresolved"][0]["detail"]
    assert codes(document_of(facts([view()], rate(**SURCHARGE)))) == ["no_gas_price"]
    assert codes(document_of(facts([view()], rate(**SURCHARGE), gas_usd=D("1.5")))) == []


def test_what_devices_brought_is_named() -> None:
    held = [Held(new_id(), "samples", True), Held(new_id(), "batches", False), Held(new_id(), "lots", False)]
    document = document_of(facts([], held=held))
    assert codes(document) == ["held_record", "held_records"]
    assert document["unresolved"][0]["held"] == str(held[0].mutation_id)
    assert document["unresolved"][1]["count"] == 2


def test_the_rate_in_force_when_the_grain_came_in() -> None:
    who = facts([]).customer
    rates = [
        rate(id=new_id(), crop="", drying_per_point_usd_bu=D("0.01")),
        rate(id=new_id(), crop="corn", drying_per_point_usd_bu=D("0.02")),
        rate(id=new_id(), crop="corn", drying_per_point_usd_bu=D("0.03"), effective_from=BEGAN + timedelta(days=2)),
        rate(id=new_id(), crop="", customer_id=who.pk, drying_per_point_usd_bu=D("0.04"), effective_from=BEGAN),
    ]
    views = [view(0), view(0, crop="wheat"), view(24)]
    for given_rates, expected in (
        (rates[:1], ["0.01", "0.01", "0.01"]),
        (rates[:2], ["0.02", "0.01", "0.02"]),
        (rates[:3], ["0.02", "0.01", "0.03"]),
        (rates, ["0.04", "0.04", "0.04"]),
    ):
        of = facts(views, *given_rates)
        found = [of.rates.at(each.batch.started_at, _keys(who.pk, each.batch.crop)) for each in views]
        assert [str(each.drying_per_point_usd_bu) for each in found] == expected
    early = view(0)
    early.batch.started_at = datetime(2025, 7, 1, tzinfo=UTC)
    assert codes(document_of(facts([early], *rates))) == ["no_rate"]


def _keys(customer_id: Any, crop: str) -> Any:
    return [(customer_id, crop), (customer_id, ""), (None, crop), (None, "")]


def test_loads_stand_by_crop_and_lot_and_bushels_are_not_added_across_crops() -> None:
    north, beans = lot("North"), lot("Beans", "soybean")
    views = [view(3), view(2, lot=north), view(1, crop="soybean", lot=beans), view(0, lot=north)]
    document = document_of(facts(views, rate()))
    assert [(each["crop"], each["name"], len(each["loads"])) for each in document["lots"]] == [
        ("corn", "North", 2),
        ("corn", None, 1),
        ("soybean", "Beans", 1),
    ]
    assert [load["at"] for load in document["lots"][0]["loads"]] == ["2025-10-01T08:00-05:00", "2025-10-01T22:00-05:00"]
    assert [each["crop"] for each in document["totals"]["by_crop"]] == ["corn", "soybean"]
    assert not any(name.endswith("_bu") for name in document["totals"])


def test_over_drying_and_fuel_are_shown() -> None:
    """Of 1,000 wet bushels at 22 % dried to 13: 917.65 could have been sold, 896.55 weigh in."""
    gas = view(1, fuel_volume_m3=None, fuel_energy_j=50 * 100_000 * 1055.05585262, fuel_basis="estimated")
    document = document_of(facts([view(0, moisture_out=13.0), gas], rate()))
    first, second = loads_of(document)
    assert (first["points_below_base"], first["below_base_usd"]) == ("2.0", "100.00")
    assert first["over_drying"]["unsold_bu"] == "21.10"
    assert first["fuel"] == {"gal": "180.0", "therm": None, "unknown_loads": 0, "basis": "metered"}
    assert second["fuel"] == {"gal": None, "therm": "50.0", "unknown_loads": 0, "basis": "estimated"}
    assert document["totals"]["fuel"] == {"gal": "180.0", "therm": "50.0", "unknown_loads": 0}


def test_doubts_are_told_once_with_their_loads() -> None:
    warning = {"code": "hot_samples_only", "detail": "Hot samples read low.", "batches": []}
    assumed = [
        {"field": "handling_pct", "value": 0.5, "basis": "common practice"},
        {"field": "fuel_temp_f", "value": 60.0, "basis": "none recorded"},
    ]
    views = [view(n, warnings=[warning] if n != 2 else [], assumed=assumed) for n in range(4)]
    document = document_of(facts(views, rate()))
    assert [(each["code"], each["loads"]) for each in document["doubts"]] == [
        ("hot_samples_only", [1, 2, 4]),
        ("assumed", [1, 2, 3, 4]),
    ]
    assert printed(seasons.issued(facts(views, rate())))["doubts"][0] == "Hot samples read low. Loads 1–2, 4."


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Drying USD 0.05 a wet bushel for every point removed."),
        ({"drying_on": "dry_bu", "points_counted": "to_base"}, "a dry bushel for every point down to the base"),
        (SURCHARGE, "for each started USD 0.1 by which a gallon of propane costs more than USD 1.6"),
        ({"minimum_usd": D("60.000000"), "minimum_per": "batch"}, "Drying is at least USD 60 a load."),
        ({"in_usd_bu": D("0.050")}, "In-charge USD 0.05 a wet bushel."),
        (
            {"drying_per_point_usd_bu": None, "bands": BANDS},
            "from 0 points to 5, USD 0.05 for each 1; from 5 points on,",
        ),
        ({"shrink": "actual"}, "by each load's actual shrink"),
        ({"shrink": "factor", "shrink_factor_pct_per_point": D("1.18")}, "1.18 % shrink for every point"),
        ({}, "Not commingled"),
    ],
)
def test_rates_are_told_in_words(values: dict[str, Any], words: str) -> None:
    document = document_of(facts([view()], rate(**values), gas_usd=D("1.83")))
    (told,) = document["rates"]
    assert words in " ".join(told["text"])
    assert told["key"] == loads_of(document)[0]["rate"] == "R1"


def test_it_is_text_through_and_through() -> None:
    """No float: what is kept and sent is what was computed."""

    def floats(value: Any) -> list[float]:
        if isinstance(value, dict):
            return [found for inner in value.values() for found in floats(inner)]
        if isinstance(value, list):
            return [found for inner in value for found in floats(inner)]
        return [value] if isinstance(value, float) else []

    document = seasons.issued(facts([view(), view(1)], rate(**SURCHARGE), gas_usd=D("1.83")))
    assert floats(document) == []
