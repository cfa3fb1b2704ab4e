"""Fills forms in as a browser does: every field as it stands, some typed over."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

from django.http import HttpResponse
from django.test import Client


class _Fields(HTMLParser):
    """What a browser would send of the forms with fields, by the address they go to."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[str, dict[str, str]]] = []
        self.select = self.area = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attributes}
        if tag == "form":
            self.forms.append((said.get("action", ""), {}))
        if not self.forms:
            return
        fields = self.forms[-1][1]
        name = said.get("name", "")
        if tag == "input" and name and (said.get("type") not in ("checkbox", "file") or "checked" in said):
            fields[name] = said.get("value", "on" if said.get("type") == "checkbox" else "")
        elif tag == "select":
            self.select = name
            fields.setdefault(name, "")
        elif tag == "option" and "selected" in said:
            fields[self.select] = said.get("value", "")
        elif tag == "textarea":
            self.area = name
            fields[name] = ""

    def handle_data(self, data: str) -> None:
        if self.area:
            self.forms[-1][1][self.area] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            # The first line break after the tag is not part of the text (HTML, 13.2.5.6).
            fields = self.forms[-1][1]
            fields[self.area] = fields[self.area].removeprefix("\n").removeprefix("\r\n")
            self.area = ""


def fields_of(answer: HttpResponse, without: str = "/sign-out") -> dict[str, str]:
    """Of the first form of the page that is not for signing out."""
    parser = _Fields()
    parser.feed(answer.content.decode())
    return next(fields for action, fields in parser.forms if without not in action)


def filled(client: Client, path: str, **typed: Any) -> dict[str, str]:
    answer = client.get(path)
    assert answer.status_code == 200, answer.content
    return fields_of(answer) | typed


def send(client: Client, path: str, **typed: Any) -> HttpResponse:
    """The form of a page, some of it typed over, sent back."""
    return client.post(path.split("?")[0], filled(client, path, **typed))
