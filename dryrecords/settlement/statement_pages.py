"""A statement as a page and as a PDF document. Its texts are data to both: neither markup nor commands."""

from __future__ import annotations

import base64
import hashlib
from datetime import datetime
from pathlib import Path
from typing import Any

import orjson
import typst
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from dryrecords.settlement.statement_print import printed

TEMPLATES = Path(__file__).parent / "templates" / "settlement"
# Ours, from a file of ours: it stands in the page, so that the page needs nothing else.
STYLE = mark_safe((TEMPLATES / "statement.css").read_text())

# What a content security policy allows the page's one style by (its hash-source).
STYLE_SOURCE = f"'sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}'"


def html(document: dict[str, Any]) -> str:
    return render_to_string("settlement/statement.html", {"style": STYLE, **printed(document)})


def pdf(document: dict[str, Any]) -> bytes:
    """The same bytes for the same document: the fonts are the library's own, the clock is that of the issuing."""
    return typst.compile(
        TEMPLATES / "statement.typ",
        format="pdf",
        sys_inputs={"statement": orjson.dumps(printed(document)).decode()},
        ignore_system_fonts=True,
        # There is no file to read but those here, and the document reads none.
        root=TEMPLATES,
        timestamp=datetime.fromisoformat(document["issued_at"]),
        # A tag for every cell makes it fifteen times as large; the page is there for those who have it read to them.
        pdf_tags=False,
    )
