"""What advice for a dryer weighs by a schedule: lost for each bushel at the base, against figures by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from dryrecords.core.errors import Invalid
from dryrecords.grain.arrays import FloatArray
from dryrecords.settlement.selling import SEVERAL, terms_of_sale
from tests import factories as make

pytestmark = pytest.mark.django_db

DRY_MATTER = {"base_moisture_pct": "15", "shrink": {"method": "dry_matter"}}
MOISTURES = np.array([[12.0, 14.5, 15.0], [15.5, 17.25, 20.0]])


def lost(rules: dict[str, Any], base: float = 15.0) -> FloatArray:
    by = make.access()
    make.schedule(by, rules=rules)
    found = terms_of_sale(by, "corn")
    assert found.discount is not None
    return found.discount(MOISTURES, base, 4.0)


def test_a_schedule_that_takes_off_the_water_alone_costs_nothing() -> None:
    assert lost(DRY_MATTER) == pytest.approx(np.zeros((2, 3)), abs=1e-4)


def test_a_discount_in_percent_of_the_price() -> None:
    """2 % a point of $4 on wet bushels, of which a bushel at the base makes 85 / (100 - M)."""
    share = [{"above_pct": "15", "step_pct": "0.01", "per_step_pct_of_price": "0.02"}]
    above = np.maximum(MOISTURES - 15.0, 0.0)
    by_hand = np.where(above > 0, 4.0 - 85.0 / (100.0 - MOISTURES) * (4.0 - 0.08 * above), 0.0)
    assert lost({"base_moisture_pct": "15", "discount": share}) == pytest.approx(by_hand, abs=2e-4)


def test_a_drying_charge_beside_the_shrink() -> None:
    charge = {"per_point_usd_bu": "0.05", "on": "wet_bu"}
    points = np.maximum(MOISTURES - 15.0, 0.0)
    by_hand = 85.0 / (100.0 - MOISTURES) * 0.05 * points
    assert lost(DRY_MATTER | {"drying_charge": charge}) == pytest.approx(by_hand, abs=2e-4)


def test_whose_schedule_is_gone_by() -> None:
    by = make.access()
    assert terms_of_sale(by, "corn").schedule is None
    first = make.schedule(by)
    assert terms_of_sale(by, "corn").schedule == first
    assert terms_of_sale(by, "soybean").schedule is None
    make.schedule(by, buyer="Stores Only", disposition="stored")
    make.schedule(by, buyer="Long Ago", effective_to=datetime(2025, 9, 1, tzinfo=UTC))
    assert terms_of_sale(by, "corn").schedule == first
    second = make.schedule(by, buyer="Second Invented Elevator", rules=DRY_MATTER | {"base_moisture_pct": "15.5"})
    told = terms_of_sale(by, "corn")
    assert (told.schedule, told.basis) == (None, SEVERAL)
    named = terms_of_sale(by, "corn", "Second Invented Elevator")
    assert (named.schedule, named.base_moisture_pct) == (second, 15.5)
    with pytest.raises(Invalid, match="No schedule of Stores Only"):
        terms_of_sale(by, "corn", "Stores Only")
    stranger = make.access(make.organization("Another Invented Drying"))
    assert terms_of_sale(stranger, "corn").schedule is None


def test_a_load_that_would_be_rejected_loses_its_price() -> None:
    told = lost(DRY_MATTER | {"reject_above_pct": "16"})
    assert told[1, 2] == pytest.approx(float(Decimal(4)))
