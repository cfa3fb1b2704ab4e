"""What people type: figures with their comma or point and unit, and times of the clock on the wall."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.core.quantities import UNITS
from dryrecords.office import typed

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("14.5", 14.5),
        ("14,5", 14.5),
        (" -3.25 ", -3.25),
        ("1,234,567", 1234567),
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("55 000", 55000),
        ("12.", 12),
        ("0,125", 0.125),
    ],
)
def test_numbers(text: str, value: float) -> None:
    assert typed.number(text).value == value


def test_a_comma_that_could_be_either_is_asked() -> None:
    with pytest.raises(typed.Unreadable, match=r"55116 or as 55\.116"):
        typed.number("55,116")


@pytest.mark.parametrize("text", ["", "wet", "1.2.3", "1,23,4", "--3", "nan", "inf", "9" * 50, "½", "٣"])
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(typed.Unreadable):
        typed.number(text)


def test_units_stand_behind_figures_or_go_without_saying() -> None:
    # 1 lb = 0.45359237 kg, t(°C) = (t(°F) - 32) / 1.8: NIST SP 811, appendix B.8.
    assert typed.quantity("100", UNITS["lb"]) == pytest.approx(45.359237)
    assert typed.quantity("100 kg", UNITS["lb"]) == 100
    assert typed.quantity("212 °F", UNITS["f"]) == pytest.approx(100)
    assert typed.quantity("80 °C", UNITS["f"]) == 80
    assert typed.quantity("14.5 %", None) == 14.5
    with pytest.raises(typed.Unreadable, match="What is 'gal'"):
        typed.quantity("100 gal", UNITS["lb"])


@given(st.floats(0.001, 1e9), st.sampled_from(["lb", "ft", "gal", "f", "h"]))
def test_what_is_shown_reads_back_to_its_digits(value: float, unit: str) -> None:
    si = UNITS[unit].to_si(value)
    assert UNITS[unit].from_si(typed.quantity(typed.shown(si, UNITS[unit]), UNITS[unit])) == pytest.approx(value, 1e-6)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    for read in (lambda: typed.quantity(text, UNITS["lb"]), lambda: typed.moment(text, CHICAGO)):
        try:
            read()
        except typed.Unreadable as refusal:
            assert str(refusal)


@pytest.mark.parametrize("text", ["2025-10-06T07:10", "2025-10-06 07:10", "Oct 6, 2025, 7:10 am"])
def test_times_are_those_of_the_site(text: str) -> None:
    assert typed.moment(text, CHICAGO) == datetime(2025, 10, 6, 12, 10, tzinfo=UTC)


def test_the_night_the_clock_changes() -> None:
    """America/Chicago in 2025: forward on 9 March at 2 am, back on 2 November at 2 am (IANA time zone database)."""
    with pytest.raises(typed.Unreadable, match="skipped"):
        typed.moment("2025-03-09T02:30", CHICAGO)
    with pytest.raises(typed.ShownTwice):
        typed.moment("2025-11-02T01:30", CHICAGO)
    first, second = (typed.moment("2025-11-02T01:30", CHICAGO, which) for which in (typed.FIRST, typed.SECOND))
    assert (first.hour, second.hour) == (6, 7)
    assert [typed.which_of_two(at, CHICAGO) for at in (first, second)] == [typed.FIRST, typed.SECOND]
    assert typed.which_of_two(datetime(2025, 10, 6, tzinfo=UTC), CHICAGO) == ""
