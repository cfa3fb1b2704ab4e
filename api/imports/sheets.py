"""A spreadsheet saved as CSV, whatever program saved it: its header, and its rows with the numbers they have there."""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import dataclass

from dryrecords.core.errors import invalid

DELIMITERS = ",;\t|"
LOOKED_AT = 64 * 1024


@dataclass(frozen=True)
class Sheet:
    header: list[str]
    # The row's number as a spreadsheet shows it, and its cells.
    rows: list[tuple[int, list[str]]]


def decoded(raw: bytes) -> str:
    """UTF-8, UTF-16 with its mark, or what older spreadsheets write in the West."""
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return raw.decode("utf-16")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def read_sheet(text: str) -> Sheet:
    text = text.removeprefix("\ufeff")
    if "\x00" in text:
        raise invalid("/content", "not_csv", "This is not a text. Save the sheet as CSV.")
    try:
        found = list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text)))
    except csv.Error as error:
        raise invalid("/content", "not_csv", f"This cannot be read as CSV: {error}.") from error
    rows = [(number, cells) for number, cells in enumerate(found, start=1) if any(cell.strip() for cell in cells)]
    if len(rows) < 2:
        raise invalid("/content", "no_rows", "There is no header with rows below it.")
    return Sheet([name.strip() for name in rows[0][1]], rows[1:])


def _delimiter(text: str) -> str:
    head = text[:LOOKED_AT]
    try:
        sniffed = csv.Sniffer().sniff(head, DELIMITERS).delimiter
    except csv.Error:
        sniffed = ","
    header = next((line for line in head.splitlines() if line.strip()), "")
    # A header without the delimiter has one column only, or the sniffer took notes for columns.
    return sniffed if sniffed in header else max(DELIMITERS, key=header.count)
