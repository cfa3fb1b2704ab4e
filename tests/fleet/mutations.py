"""One write of a device, from when it was made to what came of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from dryrecords.core.ids import new_id

# What each is for: a new record; the same again under another id; the author's own fields; a word in a note that
# everybody writes to; a removal; what nobody can apply as it is.
CREATE, TWIN, OWN, WORD, REMOVE, WRONG, USED = "create", "twin", "own", "word", "remove", "wrong", "used"
NEW = (CREATE, TWIN, WRONG)
OPS = {CREATE: "create", TWIN: "create", WRONG: "create", OWN: "update", WORD: "update", REMOVE: "delete"}


@dataclass
class Mutation:
    kind: str
    resource: str
    record: dict[str, Any]
    device: str
    base_version: int | None = None
    word: str = ""
    id: str = field(default_factory=lambda: str(new_id()))
    # What the device was told last, and the mutation that took this one's place after a conflict.
    status: str = ""
    version: int | None = None
    instead: Mutation | None = None
    bodies: int = 1

    @property
    def record_id(self) -> str:
        return str(self.record["id"])

    def body(self) -> dict[str, Any]:
        op = OPS.get(self.kind, "delete")
        body = {"id": self.id, "resource": self.resource, "op": op, "record": self.record}
        return body if self.base_version is None else body | {"base_version": self.base_version}

    def upon(self, there: dict[str, Any], version: int, *, same_id: bool) -> Mutation:
        """The same wish on top of what the server has: as this mutation, or as a new one in its place."""
        record = self.record | ({"note": with_word(there["note"], self.word)} if self.word else {})
        if same_id:
            self.record, self.base_version, self.bodies = record, version, self.bodies + 1
            return self
        self.instead = Mutation(self.kind, self.resource, record, self.device, version, self.word)
        return self.instead


def with_word(note: str | None, word: str) -> str:
    return f"{note} {word}" if note else word
