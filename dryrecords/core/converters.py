"""Parts of addresses: `<id:…>` and `<year:…>`. Imported for its effect by every module of routes that uses them."""

from __future__ import annotations

from uuid import UUID

from django.urls import register_converter


class AnyCaseUuid:
    """A UUID in either case, as RFC 9562, section 4, has readers accept it."""

    regex = "[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"

    def to_python(self, value: str) -> UUID:
        return UUID(value)

    def to_url(self, value: UUID) -> str:
        return str(value)


class Year:
    regex = "(?:19|20|21)[0-9]{2}"

    def to_python(self, value: str) -> int:
        return int(value)

    def to_url(self, value: int) -> str:
        return str(value)


register_converter(AnyCaseUuid, "id")
register_converter(Year, "year")
