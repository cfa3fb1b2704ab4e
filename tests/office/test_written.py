"""Figures as people write them: they end where their uncertainty does; times are the site's own."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from dryrecords.office import written


@pytest.mark.parametrize(
    ("value", "u", "digits", "text"),
    [
        (14.128, 0.1234, 1, "14.13 ± 0.12"),
        (14.128, 0.36, 1, "14.1 ± 0.4"),
        (12345.6, 234.0, 0, "12,350 ± 230"),
        (12345.6, 950.0, 0, "12,300 ± 1,000"),
        (12345.6, 0.0001, 0, "12,346"),
        (1.0, None, 2, "1.00"),
        (None, 0.1, 2, "—"),
        (-0.04, None, 1, "0.0"),
        (-1234.5, None, 1, "−1,234.5"),
        (float("nan"), None, 1, "—"),
    ],
)
def test_figures_and_their_uncertainty(value: float | None, u: float | None, digits: int, text: str) -> None:
    assert written.with_u(value, u, digits) == text


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (1234.56, None, "$1,235"),
        (12.345, None, "$12.35"),
        (-12.3, None, "−$12.30"),
        (1234.56, 61.0, "$1,230 ± 60"),
        (12.34, 1.4, "$12.34 ± 1.40"),
        (12.34, 0.001, "$12.34"),
        (None, None, "—"),
    ],
)
def test_money(value: float | None, u: float | None, text: str) -> None:
    assert written.money(value, "USD", u) == text


def test_units() -> None:
    assert written.quantity(0.0, "f") == "32 °F"
    assert written.quantity(100.0, "f", 0, 0.5) == "212.0 ± 0.9 °F"
    assert written.quantity(45.359237, "lb", 1) == "100.0 lb"
    assert written.quantity(None, "lb") == "—"


def test_times_are_those_of_the_wall_clock() -> None:
    at = datetime(2025, 11, 2, 6, 30, tzinfo=UTC)
    assert written.moment(at, "America/Chicago") == "Nov 2, 2025, 1:30 am"
    # An hour later summer time has ended, and the wall clock shows the same.
    assert written.moment(at.replace(hour=7), "America/Chicago") == "Nov 2, 2025, 1:30 am"
    assert written.clock(at.replace(hour=18), "America/Chicago") == "12:30 pm"
    assert written.moment(None, "America/Chicago") == "—"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(None, "—"), (59.0, "1 min"), (3600.0, "1 h"), (13_200.0, "3 h 40 min"), (10 * 86400.0, "10.0 days")],
)
def test_durations(seconds: float | None, text: str) -> None:
    assert written.duration(seconds) == text
