"""A client that a general generator writes from our OpenAPI document alone compiles and does a season's round trip."""

from __future__ import annotations

import compileall
import contextlib
import importlib
import io
import json
import pkgutil
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest

from api.schema import document
from dryrecords.season import services
from tests import factories

PACKAGE = "generated_dryrecords_client"
STARTED = datetime(2025, 10, 6, 12, tzinfo=UTC)
# The generator knows JSON only, and says so where a body may be a CSV file as well, or an answer is a PDF.
UNKNOWN_TO_IT = re.compile("Unsupported content.type (text/csv|application/pdf)")


def operations() -> dict[str, str]:
    """Every operation by its id, and its tag, as names of modules."""
    paths = json.loads(document())["paths"].values()
    told = [each for methods in paths for each in methods.values()]
    return {each["operationId"].replace("-", "_"): each["tags"][0].replace("-", "_") for each in told}


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """What the generator said; the client it wrote can be imported."""
    place = tmp_path_factory.mktemp("client")
    (place / "openapi.json").write_bytes(document())
    (place / "options.yml").write_text("post_hooks: []\n")
    command = [Path(sys.executable).with_name("openapi-python-client"), "generate", "--meta", "none"]
    named = ["--path", "openapi.json", "--config", "options.yml", "--output-path", PACKAGE]
    done = subprocess.run([*command, *named], cwd=place, capture_output=True, text=True, timeout=60, check=True)
    sys.path.insert(0, str(place))
    yield done.stdout + done.stderr
    sys.path.remove(str(place))
    for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
        del sys.modules[name]


def part(name: str) -> Any:
    return importlib.import_module(f"{PACKAGE}.{name}")


def body(model: str, **values: Any) -> Any:
    """An instance of a generated model, read from JSON as an answer is."""
    return getattr(part("models"), model).from_dict(json.loads(json.dumps(values, default=str)))


def test_nothing_is_left_out(generated: str) -> None:
    told = re.findall(r"^(?:WARNING|ERROR) (.*)\n\n(.*)", generated, re.MULTILINE)
    assert [each for each in told if not UNKNOWN_TO_IT.search(each[1])] == []
    directory = Path(part("api").__file__).parent
    written = {path.stem: path.parent.name for path in directory.glob("*/*.py") if path.stem != "__init__"}
    assert written == operations()


def test_it_compiles_and_imports(generated: str) -> None:
    package = importlib.import_module(PACKAGE)
    with contextlib.redirect_stdout(io.StringIO()) as told:
        assert compileall.compile_dir(package.__path__[0], quiet=1), told.getvalue()
    for module in pkgutil.walk_packages(package.__path__, f"{PACKAGE}."):
        importlib.import_module(module.name)


@pytest.mark.django_db(transaction=True)
def test_a_round_trip(generated: str, live_server: Any) -> None:
    text = factories.token(factories.organization())
    client = part("client").AuthenticatedClient(live_server.url, token=text, raise_on_unexpected_status=True)

    def call(operation: str, *path: Any, **given: Any) -> Any:
        module = part(f"api.{operations()[operation]}.{operation}")
        return module.sync(*path, client=client, **given)

    customer = call("customers_create", body=body("CustomerRequest", name="North field"))
    site = call("sites_create", body=body("SiteRequest", customer=customer.id, name="Home", timezone="America/Chicago"))
    dryer = call("dryers_create", body=body("DryerRequest", site=site.id, name="Bin dryer", type="batch_in_bin"))
    filling = {"dryer": dryer.id, "crop": "corn", "started_at": STARTED, "wet_mass_lb": 56_000, "mass_basis": "scale"}
    batch = call("batches_create", body=body("BatchRequest", **filling))
    wet = {"batch": batch.id, "stage": "wet", "taken_at": STARTED, "moisture_pct": 24.8}
    sample = call("samples_create", body=body("SampleRequest", **wet))
    for kind, made in (("customers", customer), ("sites", site), ("dryers", dryer), ("batches", batch)):
        assert call(f"{kind}_read", made.id).to_dict() == made.to_dict()
    assert call("samples_list", batch=batch.id).results == [sample]
    assert (sample.moisture_pct, sample.taken_at, batch.wet_mass_lb) == (24.8, STARTED, 56_000)

    cooled = wet | {"id": uuid4(), "stage": "cooled", "moisture_pct": 14.1, "taken_at": STARTED.replace(day=7)}
    sent = [
        {"id": uuid4(), "resource": "samples", "op": "create", "record": cooled},
        {
            "id": uuid4(),
            "resource": "batches",
            "op": "update",
            "record": {"id": batch.id, "drying_ended_at": STARTED.replace(hour=16)},
            "base_version": 1,
        },
        {"id": uuid4(), "resource": "samples", "op": "create", "record": wet | {"moisture_pct": 248}},
    ]
    answer = call("sync_push", body=body("SyncPushBody", mutations=sent, sent_at=datetime.now(UTC)))
    assert [(each.id, each.status.value) for each in answer.results] == [
        (each["id"], status) for each, status in zip(sent, ("applied", "applied", "held"), strict=True)
    ]
    assert answer.results[2].problem.errors[0].pointer == "/record/moisture_pct"
    assert [each.id for each in call("sync_held_list").results] == [sent[2]["id"]]
    done = call("readings_bulk", body=[body("ReadingRequest", batch=batch.id, at=STARTED, plenum_temp_f=180.5)])
    assert (done.created, done.results[0].status.value) == (1, "created")

    changes = call("sync_changes")
    assert not changes.more
    told = [(each.resource.value, each.id, each.op.value, each.version) for each in changes.changes]
    assert told == [
        ("customers", customer.id, "create", 1),
        ("sites", site.id, "create", 1),
        ("dryers", dryer.id, "create", 1),
        ("batches", batch.id, "create", 1),
        ("samples", sample.id, "create", 1),
        ("samples", UUID(str(cooled["id"])), "create", 1),
        ("batches", batch.id, "update", 2),
        ("readings", done.results[0].id, "create", 1),
    ]
    assert call("sync_changes", cursor=changes.cursor).changes == []

    services.work_off()
    result = call("batches_result", batch.id)
    assert (result.fresh, result.moisture_in_pct, result.moisture_out_pct) == (True, 24.8, 14.1)

    problem = call("samples_create", body=body("SampleRequest", **wet | {"moisture_pct": -1.5}))
    assert (problem.status, problem.errors[0].pointer) == (422, "/moisture_pct")
    assert call("samples_read", uuid4()).status == 404
    stranger = part("client").AuthenticatedClient(live_server.url, token="rubbish")
    assert part("api.samples.samples_list").sync(client=stranger).status == 401
