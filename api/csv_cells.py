"""What a cell of a CSV file may hold, so that what was text stays text in whatever program opens it."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

from api.rendering import dumps

# A spreadsheet takes a cell that begins so for a formula and runs it (OWASP, CSV injection). An apostrophe in front
# makes it text again; texts that begin with apostrophes and then so get one more, so that one can always be taken off.
# A number below zero is none: decimals travel as text, and a sheet is to add them up.
FORMULA = re.compile(r"(?!-\d+(?:\.\d+)?\Z)'*[=+\-@\t\r]")
DEFUSED = re.compile(r"'+[=+\-@\t\r]")


def cell_of(value: Any) -> Any:
    """A value of the wire as a cell; what was not given is blank."""
    if value is None or value == []:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, list | dict):
        return dumps(value).decode()
    return f"'{value}" if isinstance(value, str) and FORMULA.match(value) else value


def text_of(cell: str) -> str:
    """The text that was defused."""
    return cell[1:] if DEFUSED.match(cell) else cell
