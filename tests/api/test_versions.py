"""ETag, If-Match and If-None-Match (RFC 9110, section 13.1)."""

from __future__ import annotations

import pytest

from api.resources import Resource
from api.root import RESOURCES
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.factories import Farm


@pytest.fixture
def path(farm: Farm) -> str:
    return f"customers/{farm['customers'].pk}"


@pytest.mark.parametrize("condition", ['"1"', "*", '"7", "1"', ' "1" '])
def test_the_version_that_was_read_may_be_changed(condition: str, path: str, office: Client) -> None:
    assert office.patch(path, {"name": "New"}, If_Match=condition).status_code == 200


@pytest.mark.parametrize("condition", ['"2"', '"0"', 'W/"1"', '"no"', '"2", "3"'])
def test_another_version_may_not(condition: str, path: str, office: Client) -> None:
    for refused in (
        office.patch(path, {"name": "New"}, If_Match=condition),
        office.delete(path, If_Match=condition),
    ):
        assert problem(refused, 412)["type"] == "urn:dryrecords:problem:version_mismatch"
    assert office.get(path).json()["version"] == 1


@pytest.mark.parametrize("resource", RESOURCES, ids=lambda resource: resource.name)
def test_a_version_in_the_body_holds_like_a_condition(resource: Resource, farm: Farm, office: Client) -> None:
    path = f"{resource.name}/{farm[resource.name].pk}"
    current = office.get(path).json()
    for version, condition in ((current["version"] + 1, {}), (0, {}), (7, {"If_Match": "*"})):
        refused = office.patch(path, current | {"version": version}, **condition)
        assert problem(refused, 412)["type"] == "urn:dryrecords:problem:version_mismatch"
    for version in ("1", None, True, 1.0):
        assert pointers(office.patch(path, {"version": version})) == {"/version": "invalid"}
    assert office.get(path).json() == current
    assert office.patch(path, {"version": current["version"]}).status_code == 200


def test_two_that_send_back_what_they_read(path: str, office: Client) -> None:
    read = office.get(path).json()
    assert office.patch(path, read | {"name": "First"}).json()["version"] == 2
    assert office.patch(path, read | {"name": "Second"}).status_code == 412
    assert office.get(path).json()["name"] == "First"


@pytest.mark.parametrize("condition", ["1", "", '"1', "a, b"])
def test_a_condition_that_is_none(condition: str, path: str, office: Client) -> None:
    assert problem(office.patch(path, {"name": "New"}, If_Match=condition), 422)["type"].endswith("bad_if_match")


def test_two_that_read_the_same_version(path: str, office: Client) -> None:
    tag = office.get(path)["ETag"]
    assert office.patch(path, {"name": "First"}, If_Match=tag)["ETag"] == '"2"'
    assert office.patch(path, {"name": "Second"}, If_Match=tag).status_code == 412
    assert office.get(path).json()["name"] == "First"


@pytest.mark.parametrize(
    ("condition", "status"), [('"1"', 304), ('W/"1"', 304), ('"9", "1"', 304), ("*", 304), ('"2"', 200), ("1", 200)]
)
def test_what_is_known_is_not_sent_again(condition: str, status: int, path: str, office: Client) -> None:
    response = office.get(path, If_None_Match=condition)
    assert (response.status_code, response["ETag"]) == (status, '"1"')
    assert bool(response.content) == (status == 200)
