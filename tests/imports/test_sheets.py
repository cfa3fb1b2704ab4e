"""What columns and cells of messy spreadsheets are taken for: figures worked by hand, units by their definitions."""

from __future__ import annotations

from typing import Any

import pytest

from api.harvest import BatchSerializer, FuelReadingSerializer, ReadingSerializer, SampleSerializer
from api.imports.plan import Options, Plan
from api.imports.sheets import decoded, read_sheet
from dryrecords.core.errors import Invalid
from tests import factories


def read(kind: Any, text: str, **options: Any) -> list[tuple[dict[str, Any], dict[str, str]]]:
    """Body of each row, and code by pointer of what could not be read of it."""
    sheet = read_sheet(text)
    plan = Plan(factories.access(), kind, sheet, Options(**options))
    found = [plan.body(cells) for _, cells in sheet.rows]
    return [(body, {error.pointer: error.code for error in errors}) for body, errors in found]


def body(kind: Any, text: str, **options: Any) -> dict[str, Any]:
    read_body, errors = read(kind, text, **options)[0]
    assert errors == {}
    return read_body


def questions(kind: Any, text: str, **options: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refusal:
        read(kind, text, **options)
    return {error.pointer: error.code for error in refusal.value.errors}


SAMPLE = "batch,stage,taken at,{}\nB,wet,2025-10-06T12:00:00Z,{}\n"


@pytest.mark.parametrize(
    ("header", "cell", "field", "value"),
    [
        ("moisture_pct", "24.8", "moisture_pct", 24.8),
        ("Moisture %", "24.8 %", "moisture_pct", 24.8),
        ("MC", "24.8", "moisture_pct", 24.8),
        ("moisture content (%)", " 24.8", "moisture_pct", 24.8),
    ],
)
def test_moisture(header: str, cell: str, field: str, value: float, db: None) -> None:
    assert body(SampleSerializer, SAMPLE.format(header, cell))[field] == value


@pytest.mark.parametrize(
    ("header", "cell", "field", "value"),
    [
        # The freezing and boiling points of water in both scales.
        ("temp (C)", "100", "grain_temp_f", 212.0),
        ("temp (F)", "212", "grain_temp_f", 212.0),
        ("Grain temp °C", "0", "grain_temp_f", 32.0),
        ("grain_temp_c", "-40", "grain_temp_f", -40.0),
        ("Temp deg. F", "180", "grain_temp_f", 180.0),
        # 1 lb/bu is 1.28718 kg/hL: 0.45359237 kg in 35.23907 L (NIST SP 811, appendix B.8).
        ("test weight [kg/hl]", "72.0821", "test_weight_lb_bu", pytest.approx(56.0, abs=1e-3)),
        ("test weight (lb/bu)", "56", "test_weight_lb_bu", 56.0),
    ],
)
def test_units_in_headers(header: str, cell: str, field: str, value: float, db: None) -> None:
    text = f"batch,stage,taken at,mc,{header}\nB,wet,2025-10-06T12:00:00Z,20,{cell}\n"
    assert body(SampleSerializer, text)[field] == value


BATCH = "dryer,crop,mass basis,started,{}\nBin dryer,corn,scale,2025-10-06T12:00:00Z,{}\n"


@pytest.mark.parametrize(
    ("header", "cell", "pounds"),
    [
        ("weight (lb)", "56,000", 56_000.0),
        ("wet weight [kg]", "25,401.2", pytest.approx(56_000.0, abs=0.1)),
        ("Wet weight kg", "25401.2", pytest.approx(56_000.0, abs=0.1)),
        # A tonne is 2204.62 lb.
        ("wet weight (t)", "1", pytest.approx(2204.62, abs=0.01)),
        ("wet_mass_kg", "0.45359237", 1.0),
    ],
)
def test_masses(header: str, cell: str, pounds: float, db: None) -> None:
    text = BATCH.format(header, f'"{cell}"')
    assert body(BatchSerializer, text, decimal="point")["wet_mass_lb"] == pounds


def test_what_is_not_clear_is_asked(db: None) -> None:
    assert questions(BatchSerializer, BATCH.format("weight", "1")) == {"/columns/weight": "unit_needed"}
    assert questions(BatchSerializer, BATCH.format("weight (bu)", "1")) == {"/columns/weight (bu)": "unknown_unit"}
    assert questions(BatchSerializer, BATCH.format("colour", "1")) == {"/columns/colour": "unknown_column"}
    twice = BATCH.format("wet weight (kg),weight (lb)", "1,2")
    assert questions(BatchSerializer, twice) == {"/columns/weight (lb)": "column_twice"}
    assert questions(BatchSerializer, "dryer,crop\nA,corn\n") == {
        "/columns/started_at": "column_missing",
        "/columns/mass_basis": "column_missing",
    }
    assert questions(BatchSerializer, BATCH.format("note", "x"), columns={"colour": ""}) == {
        "/columns/colour": "no_such_column"
    }


def test_what_was_told_goes_first(db: None) -> None:
    text = BATCH.format("Gewicht,Farbe", "1000,gelb")
    told = body(BatchSerializer, text, columns={"gewicht": "wet_mass_kg", "Farbe": ""})
    assert told["wet_mass_lb"] == pytest.approx(2204.62, abs=0.01)
    assert "gelb" not in told.values()
    told = body(BatchSerializer, BATCH.format("x [kg]", "1000"), columns={"x [kg]": "wet_mass_lb"})
    assert told["wet_mass_lb"] == pytest.approx(2204.62, abs=0.01)
    assert questions(BatchSerializer, text, columns={"Gewicht": "nothing", "Farbe": ""}) == {
        "/columns/Gewicht": "unknown_field"
    }


READING = "batch,at,plenum (F)\n{}"


def times(*cells: str, **options: Any) -> list[Any]:
    text = READING.format("".join(f'B,"{cell}",180\n' for cell in cells))
    return [found.get("at", errors.get("/at")) for found, errors in read(ReadingSerializer, text, **options)]


ZONE = {"timezone": "America/Chicago"}


def test_dates_in_words_and_iso_need_no_question(db: None) -> None:
    noon = "2025-10-06T14:30:00-05:00"
    for written in (
        "2025-10-06 14:30",
        "2025-10-06T14:30:00-05:00",
        "2025/10/6 2:30 PM",
        "6 Oct 2025 14:30",
        "6-Oct-25 2:30 p.m.",
        "October 6, 2025 2:30pm",
    ):
        assert times(written, **ZONE) == [noon], written


def test_which_comes_first_is_asked_unless_it_shows(db: None) -> None:
    assert questions(ReadingSerializer, READING.format("B,06/10/2025 14:30,180\n"), **ZONE) == {
        "/dates": "ambiguous_dates"
    }
    october, june = "2025-10-06T14:30:00-05:00", "2025-06-10T14:30:00-05:00"
    assert times("06/10/2025 14:30", **ZONE, dates="day_first") == [october]
    assert times("06/10/2025 14:30", **ZONE, dates="month_first") == [june]
    # One row shows it for the whole sheet.
    assert times("06/10/2025 14:30", "25/10/25 00:00", **ZONE)[0] == october
    assert times("06.10.2025 14:30", "10.25.2025 00:00", **ZONE)[0] == june
    # The same either way.
    assert times("10/10/2025 14:30", **ZONE) == ["2025-10-10T14:30:00-05:00"]
    # The sheet contradicts itself: asked; once told, the row that does not fit is refused.
    text = READING.format("B,25/10/2025 14:30,180\nB,10/25/2025 14:30,180\n")
    assert questions(ReadingSerializer, text, **ZONE) == {"/dates": "ambiguous_dates"}
    assert times("25/10/2025 14:30", "10/25/2025 14:30", **ZONE, dates="day_first")[1] == "not_a_time"


def test_zones(db: None) -> None:
    local = READING.format("B,2025-10-06 14:30,180\n")
    assert questions(ReadingSerializer, local) == {"/timezone": "zone_needed"}
    by = factories.access()
    owner = factories.customer(by)
    factories.site(by, owner, timezone="America/Denver")
    assert times("2025-10-06 14:30") == ["2025-10-06T14:30:00-06:00"]
    factories.site(by, owner)
    assert questions(ReadingSerializer, local) == {"/timezone": "zone_needed"}
    # United States, 2025: clocks went forward on 9 March at 2:00, back on 2 November at 2:00.
    assert times("2025-03-09 02:30", "2025-11-02 01:30", "2025-11-02 01:30-05:00", **ZONE) == [
        "clock_change",
        "clock_change",
        "2025-11-02T01:30:00-05:00",
    ]


def test_times_that_are_none(db: None) -> None:
    assert times("2025-10-06", "2025-02-30 12:00", "2025-10-06 25:00", "13:30 PM", "45936.5", **ZONE) == [
        "time_needed",
        "not_a_time",
        "not_a_time",
        "not_a_time",
        "not_a_time",
    ]


def test_date_and_time_in_two_columns(db: None) -> None:
    for text in (
        "batch,Date,Time,plenum (F)\nB,6 Oct 2025,2:30 PM,180\n",
        "batch,time,plenum (F),date\nB,2:30 PM,180,6 Oct 2025\n",
    ):
        assert body(ReadingSerializer, text, **ZONE)["at"] == "2025-10-06T14:30:00-05:00"


def test_decimal_commas(db: None) -> None:
    text = "tank;at;volume (gal);temp (C)\nT;2025-10-06T12:00:00Z;1.234,5;-1,5\n"
    assert questions(FuelReadingSerializer, text) == {"/decimal": "ambiguous_numbers"}
    told = body(FuelReadingSerializer, text, decimal="comma")
    assert (told["volume_gal"], told["fuel_temp_f"]) == (1234.5, pytest.approx(29.3))
    assert read(FuelReadingSerializer, text, decimal="point")[0][1] == {
        "/volume_gal": "not_a_number",
        "/fuel_temp_f": "not_a_number",
    }
    told = body(FuelReadingSerializer, 'tank,at,volume (gal)\nT,2025-10-06T12:00:00Z,"1,234.5"\n')
    assert told["volume_gal"] == 1234.5


def test_blanks_choices_and_yes(db: None) -> None:
    text = BATCH.format("stop reason,Peaked?,refills,probes?", "Time limit,Yes,-,")
    told = body(BatchSerializer, text, columns={"Peaked?": "fill_peaked", "probes?": ""})
    assert (told["stop_reason"], told["fill_peaked"]) == ("time_limit", True)
    assert "refills" not in told
    assert body(BatchSerializer, BATCH.format("note", "-"))["note"] == "-"


def test_no_cell_is_lost(db: None) -> None:
    text = READING.format("B,2025-10-06T12:00:00Z,180,,\nB,2025-10-06T12:00:00Z,180,lost\n")
    assert [errors for _, errors in read(ReadingSerializer, text)] == [{}, {"": "no_header"}]
    text = "batch,at,,plenum (F)\nB,2025-10-06T12:00:00Z,lost,180\n"
    assert read(ReadingSerializer, text)[0][1] == {"": "no_header"}


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters(delimiter: str) -> None:
    text = "name,reference\nA farm,1\n\nB farm,2\n".replace(",", delimiter)
    sheet = read_sheet(text)
    assert sheet.header == ["name", "reference"]
    assert sheet.rows == [(2, ["A farm", "1"]), (4, ["B farm", "2"])]


def test_one_column_and_none() -> None:
    assert read_sheet("name\nA farm, the old one\n").rows[0][1][0].startswith("A farm")
    for text in ("", "\n\n", "name,reference\n", "a\x00b\nc\n"):
        with pytest.raises(Invalid):
            read_sheet(text)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding: str) -> None:
    assert decoded("café °F".encode(encoding)) == "café °F"
