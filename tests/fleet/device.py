"""A device: what it wrote and was not told of yet, and its own view of everything, by the change feed alone."""

from __future__ import annotations

import random
import time
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.fleet.model import Key
from tests.fleet.mutations import NEW, Mutation
from tests.fleet.network import Line, Lost, Network

# What a device takes for the future is by more than the server's own tolerance and the time a push takes.
SURELY = timedelta(minutes=10)


class View:
    """Records by kind and id, as the feed tells of them."""

    def __init__(self, line: Line, chance: random.Random, *, sees_everything: bool) -> None:
        self._line, self._chance, self._sees_everything = line, chance, sees_everything
        self.records: dict[Key, dict[str, Any]] = {}
        self.versions: dict[Key, int] = {}
        self._cursor = ""
        self._last: tuple[str, list[Any]] | None = None

    def pull(self, pages: int = 1000) -> None:
        """Page by page; one that gets lost is asked for again another time, from where the last one ended."""
        for _ in range(pages):
            begun = self._cursor
            answer = self._line.get(f"sync/changes?limit={self._chance.choice((7, 60, 500, 5000))}{begun}")
            self._same_as_before(begun, answer["changes"])
            for change in answer["changes"]:
                self._take(change)
            self._cursor = f"&cursor={answer['cursor']}"
            if not answer["more"]:
                return

    def look_back(self) -> None:
        """Asking again from where the last page began gives the same page."""
        if self._last and self._last[1]:
            begun, changes = self._last
            self._same_as_before(begun, self._line.get(f"sync/changes?limit={len(changes)}{begun}")["changes"])

    def _same_as_before(self, begun: str, changes: list[Any]) -> None:
        """To a customer each record is shown as it is now, to all others as it was."""
        if self._sees_everything and self._last and self._last[0] == begun:
            shared = min(len(changes), len(self._last[1]))
            assert changes[:shared] == self._last[1][:shared]
        self._last = begun, changes

    def _take(self, change: dict[str, Any]) -> None:
        key = change["resource"], change["id"]
        if self._sees_everything:
            # Every version of every record, once, in order: nothing skipped, nothing twice.
            assert change["version"] == self.versions.get(key, 0) + 1, (change, self.versions.get(key))
        self.versions[key] = change["version"]
        if change["op"] == "delete":
            self.records.pop(key, None)
        else:
            self.records[key] = change["record"]


class Device:
    def __init__(self, name: str, token: str, network: Network, seed: int, *, customer: str | None = None) -> None:
        self.name, self.customer, self.network = name, customer, network
        self.chance = random.Random(f"{seed} {name}")
        self.line = Line(network, token, random.Random(f"{seed} {name} network"))
        self.view = View(self.line, random.Random(f"{seed} {name} pages"), sees_everything=customer is None)
        self.clock_off = timedelta(hours=self.chance.choice((0, 0, -7, -1.5, 0.4, 5, 11)))
        self.made: list[Mutation] = []
        self.outbox: dict[str, Mutation] = {}
        self.skew_s: float | None = None

    def add(self, mutation: Mutation) -> None:
        self.made.append(mutation)
        self.outbox[mutation.id] = mutation

    def is_busy_with(self, record_id: str) -> bool:
        """An edit is under way, or waits: the next one is not made before it is known what came of that."""
        return any(each.record_id == record_id and each.status in ("", "held") for each in self._edits())

    def _edits(self) -> list[Mutation]:
        return [each for each in self.made if each.kind not in NEW and each.instead is None]

    def push(self) -> None:
        """Some of what waits to be sent, in no order."""
        waiting = list(self.outbox.values())
        if not waiting:
            return
        some = self.chance.sample(waiting, self.chance.randint((len(waiting) + 1) // 2, len(waiting)))
        self.hear(some, self.send(some))

    def send(self, mutations: list[Mutation]) -> dict[str, Any]:
        sent_at = (datetime.now(UTC) + self.clock_off).isoformat()
        answer: dict[str, Any] = self.line.post(
            "sync/push", {"mutations": [each.body() for each in mutations], "sent_at": sent_at}
        )
        return answer

    def hear(self, sent: list[Mutation], answer: dict[str, Any]) -> None:
        self.skew_s = answer["clock_skew_s"]
        assert [result["id"] for result in answer["results"]] == [each.id for each in sent]
        for mutation, result in zip(sent, answer["results"], strict=True):
            self._hear_of(mutation, result)

    def _hear_of(self, mutation: Mutation, result: dict[str, Any]) -> None:
        mutation.status, mutation.version = result["status"], result["version"]
        del self.outbox[mutation.id]
        if mutation.status in ("applied", "duplicate"):
            _warned_of_the_future(mutation, result["warnings"])
        if mutation.status != "conflict":
            return
        self.network.count("conflicts")
        problem = result["problem"]["type"].rpartition(":")[2]
        if mutation.kind in NEW:
            # Made under another id before, and changed since.
            assert problem == "id_taken", result
        elif result["record"] is None:
            assert problem == "record_removed", result
        else:
            assert problem == "version_mismatch", result
            instead = mutation.upon(result["record"], result["version"], same_id=self.chance.random() < 0.5)
            instead.status = ""
            if instead is not mutation:
                self.made.append(instead)
            self.outbox[instead.id] = instead

    def sync(self) -> None:
        """As far as the network lets it."""
        for _ in range(self.chance.randint(1, 3)):
            try:
                self.push()
                self.view.pull(pages=self.chance.choice((1, 3, 1000)))
                if self.chance.random() < 0.1:
                    self.view.look_back()
            except Lost as lost:
                if lost.__cause__:
                    # There is no server at the moment.
                    time.sleep(0.2)


def _warned_of_the_future(mutation: Mutation, warnings: list[dict[str, str]]) -> None:
    times = [datetime.fromisoformat(text) for name, text in mutation.record.items() if name.endswith("at")]
    if any(time > datetime.now(UTC) + SURELY for time in times):
        assert {each["code"] for each in warnings} == {"in_the_future"}, (mutation, warnings)
    elif all(time < datetime.now(UTC) - SURELY for time in times):
        assert warnings == [], (mutation, warnings)
