"""Writes of rates, and what a rate's row means as terms of a contract."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from dryrecords.core.errors import FieldError, Invalid, invalid
from dryrecords.settlement.rate_model import Rate
from dryrecords.settlement.statement_rules import FactorShrink, Surcharge, Terms, gaps
from dryrecords.settlement.terms import ZERO, Band
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import Writer


def _check(access: Access, rows: Sequence[dict[str, Any]], record: Rate | None) -> None:
    for row in rows:
        errors = [FieldError(f"/bands/{place}", "bands_apart", text) for place, text in gaps(_bands(row.get("bands")))]
        if errors:
            raise Invalid(f"bands: {errors[0].detail}", errors=errors)
        if record is not None and row.get("customer_id", record.customer_id) != record.customer_id:
            # Devices of everybody who saw it would have to be told that it is another's now.
            raise invalid("/customer_id", "fixed", "customer_id of a rate never changes: remove it and make another.")


def _bands(held: list[dict[str, Any]] | None) -> list[Band]:
    return [
        Band(
            above_pct=Decimal(band["above_points"]),
            up_to_pct=None if band["up_to_points"] is None else Decimal(band["up_to_points"]),
            step_pct=Decimal(band["step_points"]),
            per_step_usd_bu=Decimal(band["per_step_usd_bu"]),
        )
        for band in held or ()
    ]


def terms_of(rate: Rate) -> Terms:
    surcharge = factor = None
    if rate.surcharge_above_usd is not None and rate.surcharge_step_usd is not None:
        surcharge = Surcharge(rate.surcharge_above_usd, rate.surcharge_step_usd, rate.surcharge_per_step_usd_bu or ZERO)
    if rate.shrink_factor_pct_per_point is not None:
        factor = FactorShrink(rate.shrink_factor_pct_per_point, rate.shrink_handling_pct or ZERO)
    return Terms(
        per_point_usd_bu=rate.drying_per_point_usd_bu,
        bands=tuple(_bands(rate.bands)),
        on_dry_bu=rate.drying_on == Rate.Bushels.DRY,
        points_to_base=rate.points_counted == Rate.Points.TO_BASE,
        moisture_rounding_pct=rate.moisture_rounding_pct,
        bushel_rounding_bu=rate.bushel_rounding_bu,
        minimum_usd=rate.minimum_usd or ZERO,
        minimum_per_bu=rate.minimum_per == Rate.Per.BUSHEL,
        surcharge=surcharge,
        in_usd_bu=rate.in_usd_bu or ZERO,
        out_usd_bu=rate.out_usd_bu or ZERO,
        commingled=bool(rate.shrink),
        factor=factor,
    )


rates = Writer(Rate, complete=_check)
