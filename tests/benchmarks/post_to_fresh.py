"""From the answered post to the fresh result, with the whole service as it is deployed: at 50 posts a second and at 1.

A device posts a batch, a wet sample of it and a cooled one. Of some batches it then asks for the result, over and
over, until that is fresh: the time from the answer to the last post until then is what is measured.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from statistics import median, quantiles
from typing import Any

import orjson

from dryrecords.core.ids import new_id
from dryrecords.season import services
from tests import factories as make
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome
from tests.benchmarks.recompute import make_stale
from tests.benchmarks.serving import Line, served

# What the season holds before the first post.
BATCHES = 1_000
POSTS_OF_A_BATCH = 3
BUSY_POSTS_PER_S, BUSY_S = 50.0, 15.0
IDLE_POSTS_PER_S, IDLE_S = 1.0, 30.0
WARM_POSTS_PER_S, WARM_S = 20.0, 3.0
# Asking costs the server as much as posting, so only some batches are followed, and nobody asks without a pause.
FOLLOWED_PER_S = 4.0
PAUSE_S = 0.02
MOST_DEVICES = 64
WITHIN_S = 60.0


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Posting Drying", BATCHES)
    season.add_facts()
    make_stale(season, [batch.pk for batch in season.batches])
    services.work_off()
    settle_tables()
    token = make.token(make.organization("Posting Drying"))
    with served(directory) as port:
        # The first requests of a process load what the later ones find loaded.
        Load(port, token, season, WARM_POSTS_PER_S, WARM_S, first=0).run()
        idle = Load(port, token, season, IDLE_POSTS_PER_S, IDLE_S, first=1_000).run()
        busy = Load(port, token, season, BUSY_POSTS_PER_S, BUSY_S, first=2_000).run()
    yield Outcome(
        "post to fresh",
        1000 * median(busy.to_fresh_s),
        1000 * median(idle.to_fresh_s),
        "ms",
        f"medians at {BUSY_POSTS_PER_S:.0f} posts a second and, as peer, at {IDLE_POSTS_PER_S:.0f}",
        busy.details("busy") | idle.details("idle"),
    )


@dataclass
class Load:
    """Posts at a steady rate, whether or not the service keeps up. `first`: where its batches stand in the season."""

    port: int
    token: str
    season: ManyBatches
    posts_per_s: float
    lasts_s: float
    first: int
    post_s: list[float] = field(default_factory=list)
    to_fresh_s: list[float] = field(default_factory=list)
    last_post: float = 0.0
    begun: float = 0.0

    def run(self) -> Load:
        batches_per_s = self.posts_per_s / POSTS_OF_A_BATCH
        every = max(round(batches_per_s / FOLLOWED_PER_S), 1)
        self.begun = time.monotonic()
        with ThreadPoolExecutor(MOST_DEVICES) as devices:
            doing = []
            for number in range(round(self.lasts_s * batches_per_s)):
                time.sleep(max(self.begun + number / batches_per_s - time.monotonic(), 0))
                doing.append(devices.submit(self._device, number, number % every == 0))
            for one in doing:
                one.result()
        return self

    def details(self, name: str) -> dict[str, float]:
        return {
            f"{name}_p95_ms": 1000 * quantiles(self.to_fresh_s, n=20, method="inclusive")[-1],
            f"{name}_max_ms": 1000 * max(self.to_fresh_s),
            f"{name}_followed": len(self.to_fresh_s),
            f"{name}_posts_per_s": len(self.post_s) / (self.last_post - self.begun),
            f"{name}_post_median_ms": 1000 * median(self.post_s),
            f"{name}_post_max_ms": 1000 * max(self.post_s),
        }

    def _device(self, number: int, followed: bool) -> None:
        line = Line(self.port, self.token)
        batch, samples = self._bodies(self.first + number)
        self._post(line, "batches", batch)
        for sample in samples:
            self._post(line, "samples", sample)
        if followed:
            self._follow(line, f"batches/{batch['id']}/result")
        line.close()

    def _bodies(self, number: int) -> tuple[dict[str, Any], list[dict[str, Any]]]:
        turn, place = divmod(number, len(self.season.dryers))
        start = make.START + timedelta(days=40, hours=6 * turn)
        batch = {
            "id": str(new_id()),
            "dryer": str(self.season.dryers[place].pk),
            "lot": str(self.season.lot.pk),
            "crop": "corn",
            "season": make.SEASON,
            "started_at": start.isoformat(),
            "drying_ended_at": (start + timedelta(hours=4)).isoformat(),
            "wet_mass_lb": 56_000,
            "mass_basis": "scale",
        }
        of_batch = {"batch": batch["id"], "meter": str(self.season.meter.pk)}
        stages = (("wet", 21.0, start), ("cooled", 14.5, start + timedelta(hours=16)))
        samples = [{"stage": s, "moisture_pct": m, "taken_at": at.isoformat()} | of_batch for s, m, at in stages]
        return batch, samples

    def _post(self, line: Line, path: str, body: dict[str, Any]) -> None:
        begun = time.monotonic()
        line.post(path, body)
        self.last_post = time.monotonic()
        self.post_s.append(self.last_post - begun)

    def _follow(self, line: Line, path: str) -> None:
        posted = time.monotonic()
        while not (result := orjson.loads(line.get(path)))["fresh"]:
            if time.monotonic() - posted > WITHIN_S:
                raise TimeoutError(f"{path} is not fresh after {WITHIN_S:.0f} s: {result['error']}")
            time.sleep(PAUSE_S)
        self.to_fresh_s.append(time.monotonic() - posted)
        # Fresh and yet without the last sample would be a lie.
        assert result["complete"], result["missing"]
