"""No input whatever is answered with 500: the client of these tests refuses such an answer."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import orjson
import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.root import RESOURCES
from dryrecords.core.ids import new_id
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.test_forecasts import ASKED
from tests.factories import Farm

NAMES = [resource.name for resource in RESOURCES]
FIELDS = sorted({field for resource in RESOURCES for field in resource.serializer().fields})

CALCULATORS = [f"grain/{name}" for name in ("shrink", "equilibrium", "air", "airflow", "storage-time")]
GOOD_OF = {
    "grain/shrink": {"crop": "corn", "moisture_in_pct": 20.0, "moisture_out_pct": 15.0, "wet_mass_lb": 56_000.0},
    "grain/equilibrium": {"crop": "corn", "temp_f": 70.0, "rh_pct": 60.0},
    "grain/air": {"temp_f": 50.0, "rh_pct": 60.0, "heated_to_f": 120.0, "elevation_ft": 1000.0},
    "grain/airflow": {"crop": "corn", "depth_ft": 10.0, "cfm_per_bu": 1.0, "cfm_per_ft2": None, "packing": 1.5},
    "grain/storage-time": {"crop": "corn", "moisture_pct": 17.0, "temp_f": 50.0, "damage_pct": 10.0},
    "forecast": ASKED,
    "forecast-grids": ASKED,
}

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
ODD = st.sampled_from(
    [
        "",
        "\0",
        "null",
        "NaN",
        "1e999",
        "-0",
        "2025-10-06",
        "2025-10-06T12:00:00Z",
        "9999-12-31T23:59:59-23:59",
        "9" * 400,
    ]
)
NUMBERS = st.integers(-(2**63), 2**64 - 1) | st.floats(allow_nan=False, allow_infinity=False)
SCALARS = st.none() | st.booleans() | NUMBERS | TEXT | ODD | st.uuids().map(str)
NAMES_OF_FIELDS = st.sampled_from([*FIELDS, "message", "code", "non_field_errors", ""]) | TEXT
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES_OF_FIELDS, inner, max_size=4),
    max_leaves=12,
)
SEVERAL = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)


def rolled_back(call: Any) -> Any:
    with transaction.atomic():
        response = call()
        transaction.set_rollback(True)
    return response


@pytest.mark.parametrize("name", NAMES)
@SEVERAL
@given(changes=st.dictionaries(NAMES_OF_FIELDS, VALUES, min_size=1, max_size=4))
def test_a_good_body_with_odd_values(name: str, farm: Farm, office: Client, changes: dict[str, Any]) -> None:
    body = bodies(farm)[name] | changes
    made = rolled_back(lambda: office.post(name, body))
    assert made.status_code in (200, 201, 409, 422)
    changed = rolled_back(lambda: office.patch(f"{name}/{farm[name].pk}", changes))
    assert changed.status_code in (200, 422)


@pytest.mark.parametrize("name", NAMES)
@SEVERAL
@given(data=st.data())
def test_one_known_field_with_an_odd_value(name: str, farm: Farm, office: Client, data: Any) -> None:
    body = bodies(farm)[name]
    field = data.draw(st.sampled_from(sorted(body)))
    value = data.draw(VALUES)
    made = rolled_back(lambda: office.post(name, body | {field: value}))
    assert made.status_code in (201, 422)
    if made.status_code == 201:
        # What was accepted can be read, and its history too.
        with transaction.atomic():
            path = office.post(name, body | {field: value})["Location"]
            assert office.get(path).status_code == 200
            assert office.get(f"{path}/history").status_code == 200
            transaction.set_rollback(True)


@pytest.mark.parametrize("name", GOOD_OF)
@SEVERAL
@given(data=st.data())
def test_a_question_with_odd_values(name: str, farm: Farm, office: Client, data: Any) -> None:
    """Within its limits or far beyond them: an answer without a number that is none, or a refusal."""
    body = dict(GOOD_OF[name])
    for _ in range(data.draw(st.integers(1, 3))):
        body[data.draw(st.sampled_from(sorted(body)))] = data.draw(st.floats(-100, 400) | st.integers(0, 60) | VALUES)
    path = name if "/" in name else f"dryers/{farm['dryers'].pk}/{name}"
    answer = rolled_back(lambda: office.post(path, body))
    assert answer.status_code in (200, 202, 422)
    # Read strictly: NaN would not pass.
    orjson.loads(answer.content)


@SEVERAL
@given(body=st.binary(max_size=60) | VALUES.map(orjson.dumps))
def test_any_body(farm: Farm, office: Client, body: bytes) -> None:
    dryer = f"dryers/{farm['dryers'].pk}"
    many = ("sync/push", "samples/bulk", "readings/bulk", "imports")
    for path in ("batches", "customers", *many, *CALCULATORS, f"{dryer}/forecast", f"{dryer}/forecast-grids"):
        rolled_back(lambda path=path: office.post(path, body))


@SEVERAL
@given(changes=st.lists(st.dictionaries(NAMES_OF_FIELDS, VALUES, max_size=4), max_size=4), rows=st.lists(VALUES))
def test_many_odd_rows(farm: Farm, office: Client, changes: list[dict[str, Any]], rows: list[Any]) -> None:
    """Each is told what came of it, and what was accepted one way is accepted the other way."""
    sent = [bodies(farm)["samples"] | each for each in changes] + rows
    told = rolled_back(lambda: office.post("samples/bulk", sent))
    mutations = [{"id": str(new_id()), "resource": "samples", "op": "create", "record": each} for each in sent]
    pushed = rolled_back(lambda: office.post("sync/push", {"mutations": mutations}))
    assert [told.status_code, pushed.status_code] in ([200, 200], [400, 422])
    if told.status_code == 200:
        refused = [each["status"] == "refused" for each in told.json()["results"]]
        held = [each["status"] in ("held", "conflict") for each in pushed.json()["results"]]
        assert refused == held


@SEVERAL
@given(
    name=st.sampled_from([*FIELDS, "limit", "cursor", "from", "to", "updated_since"]),
    value=TEXT | ODD | NUMBERS.map(str) | st.uuids().map(str),
)
def test_any_query(farm: Farm, office: Client, name: str, value: str) -> None:
    dryer = f"dryers/{farm['dryers'].pk}"
    storage = f"bins/{farm['bins'].pk}/storage"
    for path in ("batches", "samples", "seasons/2025", f"{dryer}/calibration", f"{dryer}/advice", storage):
        assert office.get(f"{path}?{urlencode({name: value})}").status_code in (200, 404, 422)


@SEVERAL
@given(
    query=st.dictionaries(
        st.sampled_from(
            ["crop", "moisture_in_pct", "base_moisture_pct", "plenum_temp_f", "ambient_temp_f", "ambient_rh_pct"]
        ),
        st.floats(-50, 350).map(str) | st.integers(1, 60).map(str) | ODD | st.just("corn"),
    )
)
def test_any_question_for_advice(farm: Farm, office: Client, query: dict[str, str]) -> None:
    dryer = factories.dryer(farm.by, farm["sites"], bed_depth_m=0.6)
    answer = office.get(f"dryers/{dryer.pk}/advice?{urlencode({'moisture_in_pct': '22', **query})}")
    assert answer.status_code in (200, 422)


@SEVERAL
@given(value=st.text(st.characters(min_codepoint=32, max_codepoint=255), max_size=30))
def test_any_header(farm: Farm, office: Client, value: str) -> None:
    path = f"customers/{farm['customers'].pk}"
    sent = {"If_Match": value, "If_None_Match": value, "Idempotency_Key": value, "X_Request_ID": value, "Accept": value}
    rolled_back(lambda: office.patch(path, {"name": "A"}, **sent))
    office.get(path, **sent)
    Client(value).get(path)
    office.post("customers", {"name": "A"}, Content_Type=value)


@SEVERAL
@given(rest=st.text(st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="?#%"), max_size=40))
def test_any_path(farm: Farm, office: Client, rest: str) -> None:
    assert office.get(f"batches/{rest}").status_code in (200, 404)
