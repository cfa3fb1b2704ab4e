"""Reads tickets straight into arrays of whole numbers: PostgreSQL scales the decimals and sends them as binary COPY."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection, models
from django.db.models import BigIntegerField, Case, F, Q, Value, When
from django.db.models.functions import Cast, Coalesce
from numpy.typing import NDArray

from dryrecords.harvest.models import Ticket
from dryrecords.settlement.whole import Integers

# Stands for null.
MISSING = np.iinfo(np.int64).min
STATED = ("net_bu", "shrink_bu", "moisture_discount_usd", "drying_charge_usd", "net_amount_usd")
# Decimals that each column has; whatever is stated in as many as bushels have.
PLACES = {"gross_lb": 2, "tare_lb": 2, "moisture_pct": 3, "price_usd_bu": 6} | {f"stated_{name}": 4 for name in STATED}

# PostgreSQL's binary COPY: a header, then for each row the count of its columns and before each its length.
_HEADER, _TRAILER = 19, 2
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
_ID = "id"
_NUMBERS = ("delivered_us", "sold", *PLACES)
_ROW = np.dtype(
    [("columns", ">i2"), ("_id", ">i4"), (_ID, "S16")]
    + [part for name in _NUMBERS for part in ((f"_{name}", ">i4"), (name, ">i8"))]
)


@dataclass(frozen=True)
class TicketRows:
    """Tickets in the order of their delivery; integers in units of 10**-PLACES, MISSING where there is none."""

    id: NDArray[np.bytes_]  # 16 bytes each
    delivered_us: Integers  # since 2000
    sold: NDArray[np.bool_]
    gross_lb: Integers
    tare_lb: Integers
    moisture_pct: Integers
    price_usd_bu: Integers
    stated: dict[str, Integers]

    @property
    def count(self) -> int:
        return len(self.delivered_us)

    def uuid(self, place: int) -> UUID:
        return uuid_of(self.id[place])

    def delivered_at(self, place: int) -> datetime:
        return _EPOCH + timedelta(microseconds=int(self.delivered_us[place]))

    def months(self) -> NDArray[np.datetime64]:
        """Of delivery, UTC."""
        return moments(self.delivered_us).astype("datetime64[M]")


def uuid_of(raw: bytes) -> UUID:
    """NumPy drops zeros at the end of bytes."""
    return UUID(bytes=bytes(raw).ljust(16, b"\0"))


def raw_of(ids: list[UUID]) -> NDArray[np.bytes_]:
    return np.array([each.bytes for each in ids], dtype="S16")


def moments(since_2000_us: Integers) -> NDArray[np.datetime64]:
    return np.datetime64("2000-01-01T00:00:00", "us") + since_2000_us.astype("timedelta64[us]")


def us_of(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def read_rows(tickets: models.QuerySet[Any], after: tuple[datetime, UUID] | None, most: int) -> TicketRows:
    """The next so many tickets in the order of their delivery. Inside a transaction in which the scope was said."""
    if after:
        moment, ticket_id = after
        tickets = tickets.filter(delivered_at__gte=moment)
        tickets = tickets.filter(Q(delivered_at__gt=moment) | Q(pk__gt=ticket_id))
    rows = (
        tickets.order_by("delivered_at", "pk").annotate(**dict(_columns())).values_list(_ID, "delivered_at", *_plain())
    )
    return _rows(copied(rows[:most]))


def _plain() -> list[str]:
    return ["is_sold", *(f"whole_{name}" for name in PLACES)]


def _columns() -> Iterator[tuple[str, Any]]:
    yield "is_sold", Case(When(disposition=Ticket.Disposition.SOLD, then=Value(1)), default=Value(0)) + _big(0)
    for name, places in PLACES.items():
        scaled = Cast(F(name) * Value(10**places), BigIntegerField())
        nullable = Ticket._meta.get_field(name).null
        yield f"whole_{name}", Coalesce(scaled, _big(MISSING)) if nullable else scaled


def _big(value: int) -> Any:
    return Cast(Value(str(value)), BigIntegerField())


def copied(rows: models.QuerySet[Any]) -> bytes:
    """What a query finds, as binary COPY."""
    sql, parameters = rows.query.sql_with_params()
    # Past Django's cursors: whoever calls has made a statement of Django's in this transaction.
    with (
        connection.wrap_database_errors,
        connection.connection.cursor() as cursor,
        cursor.copy(f"COPY ({sql}) TO STDOUT (FORMAT BINARY)", parameters) as copy,
    ):
        return b"".join(copy)


def _rows(raw: bytes) -> TicketRows:
    count, rest = divmod(len(raw) - _HEADER - _TRAILER, _ROW.itemsize)
    assert rest == 0, "a column of another width than the query casts it to"
    table = np.frombuffer(raw, _ROW, count, _HEADER)
    numbers = {name: table[name].astype(np.int64) for name in _NUMBERS}
    return TicketRows(
        id=table[_ID],
        delivered_us=numbers["delivered_us"],
        sold=numbers["sold"] == 1,
        stated={name: numbers[f"stated_{name}"] for name in STATED},
        **{name: numbers[name] for name in PLACES if not name.startswith("stated_")},
    )
