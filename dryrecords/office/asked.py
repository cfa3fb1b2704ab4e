"""What the end of an address asks of a page, read; one that cannot be read is refused, not passed over."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpRequest

from dryrecords.core.errors import NotFound


def asked(request: HttpRequest, readers: Mapping[str, Callable[[str], Any]]) -> dict[str, Any]:
    """By name, what is not left empty. Figures of something else would be taken for those asked for."""
    found: dict[str, Any] = {}
    for name, read in readers.items():
        if not (text := request.GET.get(name, "")):
            continue
        try:
            found[name] = read(text)
        except ValueError:
            raise NotFound(f"There is nothing to show for the {name} “{text[:40]}”.") from None
    return found


def year(text: str) -> int:
    """Four digits, as in addresses with a season."""
    if not (len(text) == 4 and text.isascii() and text.isdigit() and 1900 <= int(text) < 2200):
        raise ValueError
    return int(text)
