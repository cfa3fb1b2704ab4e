"""A process of its own that sets one document: the typesetter keeps what it once laid out, hundreds of megabytes.

Run by its path, with data on standard input, and the PDF comes on standard output; it knows nothing of ours.
"""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

import typst


def main(template: str, moment: str) -> None:
    made = typst.compile(
        Path(template),
        format="pdf",
        sys_inputs={"statement": sys.stdin.buffer.read().decode()},
        ignore_system_fonts=True,
        # There is no file to read but those here, and the document reads none.
        root=Path(template).parent,
        timestamp=datetime.fromisoformat(moment),
        # A tag for every cell makes it fifteen times as large; the page is there for those who have it read to them.
        pdf_tags=False,
    )
    sys.stdout.buffer.write(made)


if __name__ == "__main__":
    main(*sys.argv[1:])
