"""What must be there in the end, in plain dictionaries: from what the devices wrote, in whatever order it came in.

Every field has one author, who changes it in an order of its own; notes are the exception: everybody adds words to
them, and each word must be there once. So the outcome does not depend on who was faster.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

Key = tuple[str, str]


@dataclass
class Expected:
    """One record that a device made."""

    resource: str
    fields: dict[str, Any]
    words: set[str] = field(default_factory=set)
    removed: bool = False
    # Held for what is in it, until the office has corrected it.
    wrong: bool = False


class Model:
    """Written to by all devices as they write, before anything is sent."""

    def __init__(self, customer_of_dryer: dict[str, str], lots: dict[str, str]) -> None:
        self.records: dict[str, Expected] = {}
        # Batches told of by word of mouth: others measure them before the server has heard of them.
        self.spoken: list[str] = []
        self._customer_of_dryer, self._lots = customer_of_dryer, lots
        self._lock = threading.Lock()

    def made(self, resource: str, record: dict[str, Any], *, wrong: bool = False) -> None:
        fields = dict(record)
        with self._lock:
            self.records[record["id"]] = Expected(resource, fields, wrong=wrong)
            if resource == "batches":
                self.spoken.append(record["id"])

    def changed(self, record_id: str, fields: dict[str, Any]) -> None:
        with self._lock:
            self.records[record_id].fields |= fields

    def said(self, record_id: str, word: str) -> None:
        with self._lock:
            self.records[record_id].words.add(word)

    def removed(self, record_id: str) -> None:
        with self._lock:
            self.records[record_id].removed = True

    def corrected(self, record_id: str, fields: dict[str, Any]) -> None:
        self.changed(record_id, fields)
        self.records[record_id].wrong = False

    def is_alive(self, record_id: str) -> bool:
        """A sample goes with its batch, or never comes to be."""
        expected = self.records[record_id]
        batch = expected.fields.get("batch")
        return not (expected.removed or expected.wrong) and (batch is None or self.is_alive(batch))

    def alive(self, resource: str) -> Iterator[tuple[str, Expected]]:
        for record_id, expected in self.records.items():
            if expected.resource == resource and self.is_alive(record_id):
                yield record_id, expected

    def customer_of(self, record_id: str) -> str | None:
        """The customer who sees it: the lot's, and without a lot the site's."""
        if record_id in self._lots:
            return self._lots[record_id]
        fields = self.records[record_id].fields
        if batch := fields.get("batch"):
            return self.customer_of(batch)
        if lot := fields.get("lot"):
            return self.customer_of(lot)
        return fields.get("customer") or self._customer_of_dryer.get(fields.get("dryer", ""))
