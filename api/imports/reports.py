"""What of a sheet was refused, as a sheet: the rows as they were brought, with the reasons in front."""

from __future__ import annotations

import csv
import io
import re

from api.csv_cells import FORMULA
from api.imports.sheets import read_sheet
from dryrecords.harvest.models import Import

# A cell of the sheet is written back as it came; only what begins like a formula and is no number is defused.
NUMBER = re.compile(r"[+-]?[\d.,]+%?$")


def errors_csv(job: Import) -> str:
    """Corrected in place, it can be brought again: the columns `row` and `reason` are not read."""
    sheet = read_sheet(job.content)
    cells_of = dict(sheet.rows)
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(["row", "reason", *map(_safe, sheet.header)])
    for refused in job.refused:
        row = refused["row"]
        writer.writerow([row, _safe(reason(refused)), *map(_safe, cells_of.get(row, []))])
    return out.getvalue()


def reason(refused: dict[str, list[dict[str, str]]]) -> str:
    told = []
    for error in refused["errors"]:
        name, detail = error["pointer"].removeprefix("/"), error["detail"]
        told.append(f"{name}: {detail}" if name and not detail.startswith(f"{name} ") else detail)
    return " ".join(told)


def _safe(cell: str) -> str:
    return f"'{cell}" if FORMULA.match(cell) and not cell.startswith("'") and not NUMBER.match(cell) else cell
