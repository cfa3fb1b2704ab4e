"""Celery: the broker only nudges; what there is to do stands in the database, so a lost message loses nothing."""

from __future__ import annotations

import os
import signal
import threading
from typing import Any

from celery import Celery
from celery.signals import worker_shutting_down

from dryrecords.core import task_names

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dryrecords.config.settings")

SWEEP_S = 5.0
HELD_SWEEP_S = 30.0
COLD_END_WITHIN_S = 5.0

broker_url = os.environ.get("BROKER_URL", "")

app = Celery("dryrecords")
app.conf.update(
    broker_url=broker_url,
    task_ignore_result=True,
    task_default_queue="dryrecords",
    task_publish_retry=False,
    broker_connection_retry_on_startup=True,
    broker_transport_options={"socket_connect_timeout": 4, "socket_timeout": 30} if "redis" in broker_url else {},
    worker_prefetch_multiplier=1,
    worker_cancel_long_running_tasks_on_connection_loss=False,
    worker_hijack_root_logger=False,
    beat_schedule={
        # What a lost nudge, a dead worker or a dead broker left behind is found by looking.
        "sweep": {
            "task": task_names.WORK_OFF_MARKS,
            "schedule": SWEEP_S,
            "options": {"expires": SWEEP_S},
        },
        "sweep-imports": {
            "task": task_names.TAKE_IMPORTS_IN,
            "schedule": SWEEP_S,
            "options": {"expires": SWEEP_S},
        },
        "sweep-audits": {
            "task": task_names.RUN_AUDITS,
            "schedule": SWEEP_S,
            "options": {"expires": SWEEP_S},
        },
        "held": {
            "task": task_names.TRY_HELD,
            "schedule": HELD_SWEEP_S,
            "options": {"expires": HELD_SWEEP_S},
        },
        "forget-old-answers": {"task": task_names.FORGET_OLD_ANSWERS, "schedule": 24 * 3600.0},
    },
)
app.set_default()


@worker_shutting_down.connect
def end_in_time(how: str, **_: Any) -> None:
    """A cold end, as of a worker whose parent was killed, may wait for a broker that has gone with it. Nobody stops it
    then; what it has in hand is found again by its lease."""
    if how == "Cold" and os.getpgrp() == os.getpid():
        timer = threading.Timer(COLD_END_WITHIN_S, os.killpg, [os.getpgrp(), signal.SIGKILL])
        timer.daemon = True
        timer.start()


app.autodiscover_tasks(["dryrecords.season", "dryrecords.settlement", "api", "api.imports"])
