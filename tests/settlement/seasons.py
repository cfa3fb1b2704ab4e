"""Facts of invented seasons made in memory, for what needs no database: the document of a statement, and its print."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from dryrecords.core.ids import new_id
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Batch, Lot
from dryrecords.season.in_force import InForce
from dryrecords.season.models import BatchResult
from dryrecords.season.selectors import BatchResultView
from dryrecords.settlement.models import Rate
from dryrecords.settlement.statement_document import Document, document_of
from dryrecords.settlement.statement_facts import Facts, Held
from dryrecords.tenancy.models import Customer, Organization, Site

BEGAN = datetime(2025, 10, 1, 13, 0, tzinfo=UTC)
GALLON_M3 = 0.003785411784


def rate(**values: Any) -> Rate:
    given = {
        "effective_from": datetime(2025, 8, 1, tzinfo=UTC),
        "drying_on": "wet_bu",
        "drying_per_point_usd_bu": Decimal("0.05"),
    }
    return Rate(**given | values)


def view(
    number: int = 0,
    *,
    moisture_in: float | None = 22.0,
    moisture_out: float | None = 14.5,
    wet_bu: float = 1000.0,
    crop: str = "corn",
    lot: Lot | None = None,
    dryer: Dryer | None = None,
    fresh: bool = True,
    **of_result: Any,
) -> BatchResultView:
    """A batch and what was computed of it: dry matter is kept, the base is 15 percent."""
    site = Site(name="Home place", timezone="America/Chicago")
    at = BEGAN + timedelta(hours=7 * number)
    batch = Batch(
        dryer=dryer or Dryer(site=site, name="Bin dryer"), lot=lot, crop=crop, started_at=at, mass_basis="scale"
    )
    if moisture_in is None or moisture_out is None:
        missing = [n for n, m in (("moisture_in_pct", moisture_in), ("moisture_out_pct", moisture_out)) if m is None]
        figures: dict[str, Any] = {"complete": False, "missing": missing, "wet_bu": wet_bu}
    else:
        dry_bu = wet_bu * (100 - moisture_in) / (100 - moisture_out)
        base_bu = wet_bu * (100 - moisture_in) / 85
        figures = {
            "complete": True,
            "wet_bu": wet_bu,
            "dry_bu": dry_bu,
            "base_bu": base_bu,
            "market_bu": base_bu if moisture_out >= 15 else dry_bu,
            "over_drying_unsold_bu": max(0.0, base_bu - dry_bu),
            "over_drying_total_usd": 4.2 * max(0.0, base_bu - dry_bu),
            "fuel_volume_m3": 0.02 * wet_bu * max(0.0, moisture_in - moisture_out) * GALLON_M3,
            "fuel_basis": "metered",
        }
    figures |= {"moisture_in_pct": moisture_in, "moisture_out_pct": moisture_out, "base_moisture_pct": 15.0}
    return BatchResultView(batch, BatchResult(batch_id=batch.pk, **figures | of_result), fresh, "")


def facts(
    batches: Sequence[BatchResultView],
    *rates: Rate,
    gas_usd: Decimal | None = None,
    held: Sequence[Held] = (),
    customer: str = "North Field Farm",
) -> Facts:
    gas = [(("propane", "", None), datetime(2025, 1, 1, tzinfo=UTC), gas_usd)] if gas_usd is not None else []
    return Facts(
        organization=Organization(name="Invented Drying"),
        customer=Customer(name=customer, reference="C-17"),
        season=2025,
        batches=list(batches),
        rates=InForce(((each.customer_id, each.crop), each.effective_from, each) for each in rates),
        gas=InForce(gas),
        held=list(held),
    )


def issued(of: Facts, number: str = "2025-0007", corrects: dict[str, str] | None = None) -> Document:
    """The document as it would be after it was issued."""
    told = {"number": number, "issued_at": "2025-12-01T10:00:00+00:00", "corrects": corrects}
    return document_of(of) | told | {"difference_usd": "-12.50" if corrects else None}


def lot(name: str = "North field", crop: str = "corn") -> Lot:
    return Lot(name=name, crop=crop, season=2025, id=new_id())
