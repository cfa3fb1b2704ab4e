"""The office pages over HTTP in a season of 10,000 batches, each against the API's answer from the same rows."""

from __future__ import annotations

import http.client
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import F
from django.test import Client

from dryrecords.journal import kinds
from dryrecords.journal.models import StaleMark
from dryrecords.season import services
from tests import factories as make
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome, in_turns
from tests.benchmarks.recompute import make_stale
from tests.benchmarks.serving import Line, served
from tests.office.client import person

BATCHES = 10_000
ROUNDS = 30
READINGS = 40
# What a page may take to its first byte, which comes with the last: pages are not sent in pieces.
WITHIN_MS = 200.0


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Paged Drying", BATCHES)
    season.add_facts()
    batch = season.batches[len(season.batches) // 2]
    dryer = next(each for each in season.dryers if each.pk == batch.dryer_id)
    for number in range(READINGS):
        make.reading(season.by, batch, at=batch.started_at + timedelta(minutes=5 * number), grain_temp_c=20.0 + number)
    store = make.bin_(season.by, dryer.site)
    make.sample(season.by, bin_id=store.pk, stage="stored", taken_at=make.START + timedelta(days=9), grain_temp_c=9.0)
    make_stale(season, [each.pk for each in season.batches])
    services.work_off()
    # What dryers taught would be computed beside what is measured.
    StaleMark.objects.filter(kind=kinds.CALIBRATION).update(done=F("wanted"))
    settle_tables()
    token = make.token(make.organization("Paged Drying"))
    cookie = _cookie()
    pairs = {
        "board": ("", "seasons/2025"),
        "site": (f"/sites/{dryer.site_id}/seasons/2025", f"sites/{dryer.site_id}/seasons/2025"),
        "batches": ("/batches?season=2025", "batches?season=2025&limit=50"),
        "batch": (f"/batches/{batch.pk}", f"batches/{batch.pk}/result"),
        "dryer": (f"/dryers/{dryer.pk}", f"dryers/{dryer.pk}/calibration"),
        "bin": (f"/bins/{store.pk}", f"bins/{store.pk}/storage"),
    }
    with served(directory) as port:
        line, pages = Line(port, token), Pages(port, cookie)
        for name, (page, route) in pairs.items():
            times = in_turns(ROUNDS, {"ours": lambda p=page: pages.get(p), "peer": lambda r=route: line.get(r)})
            yield _outcome(name, times)
        line.close()
        pages.close()


def _outcome(name: str, times: Any) -> Outcome:
    ours = times["ours"].median_ms
    of = f"the API's answer, best of {ROUNDS} rounds"
    details = {"ours_median_ms": ours, "peer_median_ms": times["peer"].median_ms, "within_ms": WITHIN_MS}
    return Outcome(f"page {name}", times["ours"].best_ms, times["peer"].best_ms, "ms", of, details)


def _cookie() -> str:
    client = Client()
    client.force_login(person("ann", make.organization("Paged Drying")))
    return f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"


class Pages:
    """One kept connection of a browser that is signed in."""

    def __init__(self, port: int, cookie: str) -> None:
        self._http = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self._cookie = cookie

    def get(self, path: str) -> bytes:
        self._http.request("GET", f"/office{path}", headers={"Cookie": self._cookie})
        response = self._http.getresponse()
        content = response.read()
        if response.status != 200:
            raise RuntimeError(f"/office{path}: {response.status} {content[:500]!r}")
        return content

    def close(self) -> None:
        self._http.close()
