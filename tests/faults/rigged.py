"""The real Celery app for the tests' workers and schedulers, with what the FAULTS_ variables ask for.

FAULTS_LEASE_S, FAULTS_SWEEP_S and FAULTS_HELD_SWEEP_S shorten waits that are right for a farm and long for a test.
FAULTS_POISON_BATCH names a batch that ends whatever process loads its facts, as a fault in a compiled library would.
FAULTS_TICKETS_AT_A_TIME makes the turns of an audit short enough to be hit in the middle of it.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from celery import signals

from dryrecords.config.celery import app

if "FAULTS_SWEEP_S" in os.environ:
    app.conf.beat_schedule["sweep"]["schedule"] = float(os.environ["FAULTS_SWEEP_S"])
if "FAULTS_HELD_SWEEP_S" in os.environ:
    app.conf.beat_schedule["held"]["schedule"] = float(os.environ["FAULTS_HELD_SWEEP_S"])


@signals.worker_process_init.connect
def rig(**_: Any) -> None:
    """Not before: the parts need Django to be set up."""
    from dryrecords.journal import stale
    from dryrecords.season import services
    from dryrecords.settlement import audit_run

    audit_run.TICKETS_AT_A_TIME = int(os.environ.get("FAULTS_TICKETS_AT_A_TIME", audit_run.TICKETS_AT_A_TIME))
    stale.LEASE_S = float(os.environ.get("FAULTS_LEASE_S", stale.LEASE_S))
    if "FAULTS_POISON_BATCH" in os.environ:
        poison, load_facts = UUID(os.environ["FAULTS_POISON_BATCH"]), services.load_facts

        def deadly(organization_id: UUID, ids: Sequence[UUID]) -> Any:
            if poison in ids:
                os._exit(1)
            return load_facts(organization_id, ids)

        services.load_facts = deadly
