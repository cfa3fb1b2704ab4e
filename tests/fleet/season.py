"""The fleet's season, day by day: everybody at once, on a bad network, with processes killed meanwhile; then quiet."""

from __future__ import annotations

import os
import random
import signal
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests import factories as make
from tests.faults.tree import Tree
from tests.fleet.device import Device
from tests.fleet.mutations import USED, WRONG
from tests.fleet.network import Line, Network
from tests.fleet.yard import ORGANIZATION, Hand, Yard
from tests.runtime.processes import wait_for

AT_ONCE = 8
# Rigged workers: waits that are right for a farm are long for a test.
QUICK = {"FAULTS_LEASE_S": "0.5", "FAULTS_SWEEP_S": "1", "FAULTS_HELD_SWEEP_S": "2"}
QUIET_WITHIN_S = 60
# Of two that edit the same again and again one gets through each time.
MOST_TURNS = 30


@dataclass(frozen=True)
class Plan:
    devices: int
    days: int
    seed: int
    # Days from one kill to the next.
    worker_dies_every: int
    web_dies_every: int


class Fleet:
    def __init__(self, plan: Plan, tree: Tree) -> None:
        self.plan, self.tree = plan, tree
        self.begins = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
        # The last day is today, so that clocks that are ahead write of the future.
        self.begins -= timedelta(days=plan.days - 1)
        self.season = self.begins.year
        self.chance = random.Random(plan.seed)
        self.network = Network(tree.port, random.Random(f"{plan.seed} network"))
        self.yard = Yard.made(self.season, self.begins)
        self.model = self.yard.model
        owner = make.organization(ORGANIZATION)
        self.office = Line(self.network, make.token(owner, "office", device="office desk"), self.chance)
        self.readers = [
            Device(f"customer-{n}", make.token(owner, "customer", of=of, device=f"customer-{n}"), self.network,
                   plan.seed, customer=str(of.pk))
            for n, of in enumerate(make.Customer.objects.order_by("name"))
        ]  # fmt: skip
        roles = ["office", *["operator"] * (plan.devices - 1 - len(self.readers))]
        names = [f"device-{n}" for n in range(len(roles))]
        tokens = [make.token(owner, role, device=name) for role, name in zip(roles, names, strict=True)]
        self.writers = [Device(*pair, self.network, plan.seed) for pair in zip(names, tokens, strict=True)]
        self.hands = [Hand(each, self.yard, self.season, prices=n == 0) for n, each in enumerate(self.writers)]

    @property
    def devices(self) -> list[Device]:
        return [*self.writers, *self.readers]

    def run(self) -> None:
        self.worker, self.web = self.tree.worker(**QUICK), self.tree.web()
        self.tree.scheduler(**QUICK)
        for day in range(self.plan.days):
            # A process ends with the thread that started it, so that kills are done here and the day lived on another.
            with ThreadPoolExecutor(1) as pool:
                lived = pool.submit(self._day, day)
                self._kill(day, lived)
                lived.result()
        self._quiet()

    def _day(self, day: int) -> None:
        with ThreadPoolExecutor(AT_ONCE) as pool:
            order = self.chance.sample(range(len(self.devices)), len(self.devices))
            doing = [pool.submit(self._of_device, n, day) for n in order]
            self.network.deliver_late(0.3)
            for one in doing:
                one.result()

    def told(self) -> dict[str, int]:
        """How much there was of everything."""
        made = {"mutations": sum(len(device.made) for device in self.writers)}
        return made | self.network.counts

    def _of_device(self, number: int, day: int) -> None:
        """Two are special: one is away for weeks with what it knew before, one is new on the last day."""
        device, days = self.devices[number], self.plan.days
        is_new = number == 2 and day < days - 1
        is_away = number == 1 and days // 10 < day < days - 1
        if is_new:
            return
        if number < len(self.hands):
            self.hands[number].write(self.begins + timedelta(days=day), device.chance.randint(0, 8))
        if not is_away and device.chance.random() < 0.8:
            device.sync()

    def _kill(self, day: int, lived: Future[None]) -> None:
        """Somewhere in the middle of the day."""
        wait([lived], timeout=self.chance.uniform(0.0, 0.4))
        if day % self.plan.worker_dies_every == 0:
            self.network.count("workers killed")
            self.tree.kill(self.worker)
            self.worker = self.tree.worker(**QUICK)
        if day % self.plan.web_dies_every == 1:
            self._kill_web(whole=day // self.plan.web_dies_every % 2 == 0)

    def _kill_web(self, *, whole: bool) -> None:
        """All of it, or one of the processes that answer, with whatever these were doing."""
        if whole:
            self.network.count("web servers killed")
            self.tree.kill(self.web)
            self.web = self.tree.web()
            return
        children = Path(f"/proc/{self.web.pid}/task/{self.web.pid}/children").read_text().split()
        if children:
            self.network.count("web processes killed")
            os.kill(int(children[0]), signal.SIGKILL)

    def _lives(self) -> tuple[float, float]:
        return self.plan.worker_lives_s, self.plan.web_lives_s

    # Afterwards.

    def _quiet(self) -> None:
        """The network is well again; what was on its way arrives, and everybody sends what is left."""
        self.network.calm_down()
        for _ in range(8):
            self._everybody(self._send_everything)
        assert [each for device in self.devices for each in device.outbox] == []
        self._settle_what_nobody_can_apply()
        assert wait_for(self._only_the_hopeless_wait, QUIET_WITHIN_S), self._waiting()
        self._everybody(self._ask_again)
        self._everybody(self._send_everything)
        self._everybody(self._send_everything)
        self._everybody(lambda device: device.view.pull())

    def _everybody(self, do: Any) -> None:
        with ThreadPoolExecutor(AT_ONCE) as pool:
            list(pool.map(do, self.devices))

    @staticmethod
    def _send_everything(device: Device) -> None:
        """Conflicts are sent again at once, until there is none."""
        device.view.pull()
        for _ in range(MOST_TURNS):
            if waiting := list(device.outbox.values()):
                device.hear(waiting, device.send(waiting))

    @staticmethod
    def _ask_again(device: Device) -> None:
        """What was held may have been applied meanwhile; the device has not heard of it."""
        for mutation in device.made:
            if mutation.status == "held":
                device.outbox[mutation.id] = mutation

    def _settle_what_nobody_can_apply(self) -> None:
        for device in self.writers:
            for mutation in device.made:
                if mutation.kind == WRONG and self.chance.random() < 0.5:
                    fields = {"moisture_pct": 17.5}
                    self.model.corrected(mutation.record_id, fields)
                    self.office.post(f"sync/held/{mutation.id}/resubmit", {"record": mutation.record | fields})
                elif mutation.kind in (WRONG, USED):
                    assert mutation.status == "held", mutation
                    self.office.post(f"sync/held/{mutation.id}/dismiss", None)

    def held(self, status: str = "held") -> list[dict[str, Any]]:
        entries, cursor = [], ""
        while True:
            answer = self.office.get(f"sync/held?limit=1000&status={status}{cursor}")
            entries += answer["results"]
            if answer["next_cursor"] is None:
                return entries
            cursor = f"&cursor={answer['next_cursor']}"

    def _only_the_hopeless_wait(self) -> bool:
        return self._waiting() == []

    def _waiting(self) -> list[dict[str, Any]]:
        """Held mutations of records that should be there: what they waited for has come."""
        return [each for each in self.held() if self.model.is_alive(each["record"]["id"])]
