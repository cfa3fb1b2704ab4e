"""Which tests of two meters pair: against trying every pair; bins, deliveries and crops; and what the report says."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from dryrecords.settlement.meter_comparison import _nearest, _Test, compare_meters
from tests import factories

WITHIN_S = 3600
TESTS = st.lists(st.tuples(st.integers(0, 2), st.integers(0, 20_000)), max_size=12)


def made_of(drawn: list[tuple[int, int]], base: float) -> list[_Test]:
    """Each of some grain at some second, with a moisture of its own to know it by."""
    return [
        _Test((grain,), factories.START + timedelta(seconds=at), base + n, "corn")
        for n, (grain, at) in enumerate(drawn)
    ]


def nearest(test: _Test, among: list[_Test]) -> _Test | None:
    """By looking at each; nothing is drawn where two would do."""
    same = [each for each in among if each.grain == test.grain]
    gaps = [abs((each.taken_at - test.taken_at).total_seconds()) for each in same]
    assume(len(set(gaps)) == len(gaps))
    return same[int(np.argmin(gaps))] if gaps and min(gaps) <= WITHIN_S else None


@given(TESTS, TESTS)
def test_pairs_are_those_that_trying_all_finds(first: Any, second: Any) -> None:
    one, other = made_of(first, 0.0), made_of(second, 100.0)
    expected = [
        (mine.moisture_pct, theirs.moisture_pct)
        for mine in one
        if (theirs := nearest(mine, other)) is not None and nearest(theirs, one) == mine
    ]
    ours = _nearest(one, other, WITHIN_S)
    assert list(zip(ours.one.tolist(), ours.other.tolist(), strict=True)) == expected


@pytest.mark.django_db
def test_a_test_counts_once() -> None:
    """Three quick tests with one meter and a single one with the other are one pair, the nearest."""
    by = factories.access()
    farm = factories.farm(by)
    other = factories.meter(by, name="Truck meter")
    for minute, moisture in ((0, 14.0), (10, 14.4), (40, 15.0)):
        values = {"taken_at": factories.START + timedelta(days=3, minutes=minute), "moisture_pct": moisture}
        factories.sample(by, batch_id=None, bin_id=farm["bins"].pk, stage="stored", meter_id=other.pk, **values)
    at = factories.START + timedelta(days=3, minutes=12)
    stored = {"batch_id": None, "bin_id": farm["bins"].pk, "stage": "stored", "taken_at": at, "moisture_pct": 14.7}
    factories.sample(by, meter_id=farm["meters"].pk, **stored)
    asked = {"season": 2025, "one": farm["meters"].pk, "other": other.pk}
    told = compare_meters(by, **asked)
    assert (told["pairs"], told["all"]["bias_pct"]) == (1, 0.3)
    # Of one pair there is a difference and nothing more; and of what is in a bin no crop is known.
    assert told["all"]["standard_deviation_pct"] is told["all"]["tolerance_pct"] is told["line"]["slope"] is None
    assert told["all"]["verdict"] == "not_shown"
    assert compare_meters(by, crop="corn", **asked)["pairs"] == 0
    assert compare_meters(by, **asked | {"season": 2024})["pairs"] == 0


@pytest.mark.django_db
def test_another_stage_is_other_grain_and_a_hot_sample_none() -> None:
    by = factories.access()
    farm = factories.farm(by)
    other = factories.meter(by, name="Truck meter")
    for stage in ("cooled", "hot"):
        factories.sample(by, farm["batches"], meter_id=other.pk, stage=stage)
    factories.sample(by, farm["batches"], meter_id=farm["meters"].pk, stage="hot")
    assert compare_meters(by, season=2025, one=farm["meters"].pk, other=other.pk)["pairs"] == 0
