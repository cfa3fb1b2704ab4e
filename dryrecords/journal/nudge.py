"""Wakes a worker. Publishing happens on a thread of its own, so a slow or dead broker never delays a request."""

from __future__ import annotations

import logging
import os
import threading

from celery import current_app

from dryrecords.core import task_names

log = logging.getLogger(__name__)

# A worker that is not there must not find a heap of old nudges when it comes back; the sweep finds the work.
EXPIRES_S = 10


class _Nudger:
    """One pending nudge at most: any number of writes in a moment wake the workers once."""

    def __init__(self, task: str) -> None:
        self._task = task
        self._wanted = threading.Event()
        self._lock = threading.Lock()
        self._pid = 0

    def nudge(self) -> None:
        self._wanted.set()
        # A forked web worker inherits this object but not its thread.
        if self._pid != os.getpid():
            with self._lock:
                if self._pid != os.getpid():
                    threading.Thread(target=self._run, name="nudge", daemon=True).start()
                    self._pid = os.getpid()

    def _run(self) -> None:
        while True:
            self._wanted.wait()
            self._wanted.clear()
            try:
                current_app.send_task(self._task, expires=EXPIRES_S, retry=False)
            except Exception as error:
                log.warning("no nudge sent, the sweep will find the work: %s", error)


nudge = _Nudger(task_names.WORK_OFF_MARKS).nudge
nudge_imports = _Nudger(task_names.TAKE_IMPORTS_IN).nudge
nudge_audits = _Nudger(task_names.RUN_AUDITS).nudge
