"""A statement as a page and as a PDF document. Its texts are data to both: neither markup nor commands."""

from __future__ import annotations

import base64
import hashlib
import subprocess
import sys
from pathlib import Path
from typing import Any

import orjson
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from dryrecords.settlement.statement_print import printed

# Half a second for 200 loads, and some seconds for thousands.
LONGEST_S = 60
TYPESETTING = Path(__file__).with_name("typesetting.py")

TEMPLATES = Path(__file__).parent / "templates" / "settlement"
# Ours, from a file of ours: it stands in the page, so that the page needs nothing else.
STYLE = mark_safe((TEMPLATES / "statement.css").read_text())

# What a content security policy allows the page's one style by (its hash-source).
STYLE_SOURCE = f"'sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}'"


def html(document: dict[str, Any]) -> str:
    return render_to_string("settlement/statement.html", {"style": STYLE, **printed(document)})


def pdf(document: dict[str, Any]) -> bytes:
    """The same bytes for the same document: the fonts are the library's own, the clock is that of the issuing."""
    # -P: beside the file there are modules with names that the standard library has too.
    made = subprocess.run(
        [sys.executable, "-P", TYPESETTING, TEMPLATES / "statement.typ", document["issued_at"]],
        input=orjson.dumps(printed(document)),
        capture_output=True,
        timeout=LONGEST_S,
        check=False,
    )
    if made.returncode:
        raise RuntimeError(f"The statement could not be set: {made.stderr.decode()[-2000:]}")
    return made.stdout
