"""Every refusal is a problem document (RFC 9457) that says what was wrong, and where."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings
from django.db import OperationalError

from dryrecords.core.ids import new_id
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm


def problem(response: Any, status: int) -> dict[str, Any]:
    assert response.status_code == status, response.content
    assert response["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = response.json()
    assert body["status"] == status
    assert body["type"].startswith("urn:dryrecords:problem:")
    assert body["title"]
    assert body["detail"]
    assert body["request_id"] == response["X-Request-ID"]
    return body


def pointers(response: Any, status: int = 422) -> dict[str, str]:
    return {error["pointer"]: error["code"] for error in problem(response, status)["errors"]}


def test_no_token_and_unknown_token(farm: Farm) -> None:
    for client in (Client(), Client("unknown")):
        refused = client.get("batches")
        problem(refused, 401)
        assert refused["WWW-Authenticate"].startswith("Bearer")


def test_nothing_there(farm: Farm, office: Client) -> None:
    unknown = problem(office.get(f"batches/{new_id()}"), 404)
    assert unknown["type"] == "urn:dryrecords:problem:not_found"
    for path in ("batches/no-uuid", "batches/", "nothing", f"batches/{new_id()}/nothing", "seasons/25"):
        problem(office.get(path), 404)


def test_methods_that_are_not_there(farm: Farm, office: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    refused = office.send("PUT", path, {})
    problem(refused, 405)
    assert "PATCH" in refused["Allow"]
    problem(office.send("DELETE", "batches"), 405)
    problem(office.post("batches/" + str(farm["batches"].pk), {}), 405)
    assert office.send("OPTIONS", path).status_code == 204
    assert "DELETE" in office.send("OPTIONS", path)["Allow"]
    head = office.send("HEAD", path)
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", '"1"')


def test_bodies_that_cannot_be_read(farm: Farm, office: Client) -> None:
    problem(office.post("customers", b"{"), 400)
    problem(office.post("customers", b'{"name": NaN}'), 400)
    problem(office.post("customers", b'{"name": "\xff"}'), 400)
    problem(office.post("customers", b'{"name": "\\ud800"}'), 400)
    problem(office.post("customers", b'{"a":' * 33 + b"1" + b"}" * 33), 400)
    problem(office.post("customers", b"[" * 100_000), 400)
    problem(office.post("customers", b"x", Content_Type="text/plain"), 415)
    for body in (b"[]", b"3", b"null", b'"text"', b""):
        problem(office.post("customers", body), 422)


def test_a_body_that_is_too_large(farm: Farm, office: Client) -> None:
    body = {"name": "n", "reference": "r" * settings.MAX_BODY_BYTES}
    refused = office.post("customers", body)
    problem(refused, 413)
    # Taken from the wire all the same: closed on somebody who is still sending, the line breaks before the answer.
    assert refused.wsgi_request.read() == b""


def test_all_wrong_fields_are_named_at_once(farm: Farm, office: Client) -> None:
    body = {"crop": "maize", "moisture": 3, "started_at": "2025-10-06T12:00:00", "a/b~c": 1}
    assert pointers(office.post("batches", body)) == {
        "/crop": "invalid_choice",
        "/moisture": "unknown_field",
        "/a~1b~0c": "unknown_field",
        "/started_at": "offset_missing",
        "/dryer": "required",
        "/mass_basis": "required",
    }


def test_unknown_fields_called_like_parts_of_an_error(farm: Farm, office: Client) -> None:
    found = pointers(office.post("customers", {"name": "n", "message": "m", "code": "c", "non_field_errors": 1}))
    assert {"/message", "/code"} <= set(found)


@pytest.mark.parametrize(
    ("name", "field", "value", "code"),
    [
        ("sites", "timezone", "Mars/Olympus", "unknown_zone"),
        ("sites", "timezone", "America/chicago", "unknown_zone"),
        ("sites", "elevation_ft", 20_000, "out_of_range"),
        ("sites", "latitude", -90.1, "out_of_range"),
        ("sites", "name", "", "blank"),
        ("sites", "name", " ", "blank"),
        ("sites", "name", None, "null"),
        ("sites", "name", "x" * 201, "max_length"),
        ("sites", "name", "a\0b", "null_characters_not_allowed"),
        ("sites", "customer", None, "null"),
        ("sites", "customer", 7, "invalid"),
        ("batches", "note", "a\0b", "null_characters_not_allowed"),
        ("batches", "note", "x" * 10_001, "max_length"),
        ("batches", "wet_mass_lb", 0, "out_of_range"),
        ("batches", "wet_mass_lb", True, "not_a_number"),
        ("batches", "wet_mass_lb", "1000", "not_a_number"),
        ("batches", "wet_mass_lb", [1], "not_a_number"),
        ("batches", "wet_mass_lb", 1e300, "out_of_range"),
        ("batches", "plenum_temp_f", 753, "out_of_range"),
        ("batches", "plenum_temp_f", -77, "out_of_range"),
        ("batches", "ambient_rh_pct", 100.1, "out_of_range"),
        ("batches", "season", 1899, "min_value"),
        ("batches", "season", 1e300, "invalid"),
        ("batches", "started_at", "1066-10-14T09:00:00Z", "out_of_range"),
        ("batches", "started_at", "0001-01-01T00:00:00+14:00", "out_of_range"),
        ("batches", "started_at", 5, "invalid"),
        ("batches", "stop_reason", "", "invalid_choice"),
        ("samples", "moisture_pct", 61, "out_of_range"),
        ("samples", "probes", 0, "min_value"),
        ("samples", "probes", 2**40, "max_value"),
        ("fuel-readings", "gauge_pct", 101, "out_of_range"),
        ("prices", "unit_price_usd", "-1", "out_of_range"),
        ("prices", "unit_price_usd", "NaN", "invalid"),
        ("prices", "unit_price_usd", "1e400", "max_digits"),
        ("prices", "unit_price_usd", True, "invalid"),
        ("prices", "unit_price_usd", "0.0000001", "max_decimal_places"),
        ("prices", "effective_from", "2025-13-01", "invalid"),
        ("settings", "handling_pct", 10.1, "out_of_range"),
    ],
)
def test_impossible_values(name: str, field: str, value: Any, code: str, farm: Farm, office: Client) -> None:
    refused = office.post(name, bodies(farm)[name] | {field: value})
    assert pointers(refused).get(f"/{field}") == code


def test_a_range_is_told_in_the_unit_of_the_field(farm: Farm, office: Client) -> None:
    refused = office.post("batches", bodies(farm)["batches"] | {"plenum_temp_f": 1000})
    (error,) = problem(refused, 422)["errors"]
    assert "at least -76" in error["detail"]
    assert "at most 752" in error["detail"]


@pytest.mark.parametrize("value", [-76, 752])
def test_the_limits_themselves_are_allowed(value: float, farm: Farm, office: Client) -> None:
    made = office.post("batches", bodies(farm)["batches"] | {"plenum_temp_f": value})
    assert (made.status_code, made.json()["plenum_temp_f"]) == (201, value)


def test_parts_are_checked_one_by_one(farm: Farm, office: Client) -> None:
    dryer = bodies(farm)["dryers"]
    fans = [{"purpose": "drying"}, {"power_hp": -1, "colour": "red"}]
    assert pointers(office.post("dryers", dryer | {"fans": fans})) == {
        "/fans/1/purpose": "required",
        "/fans/1/power_hp": "out_of_range",
        "/fans/1/colour": "unknown_field",
    }
    assert "/fans" in pointers(office.post("dryers", dryer | {"fans": {"purpose": "drying"}}))
    assert "/fans/0" in pointers(office.post("dryers", dryer | {"fans": [3]}))
    refill = {"at": "2025-10-08T14:30:00Z", "mass_lb": 1.0, "moisture_pct": 60.1}
    refused = office.post("batches", bodies(farm)["batches"] | {"refills": [refill]})
    assert pointers(refused) == {"/refills/0/moisture_pct": "out_of_range"}


def test_a_database_that_is_gone(farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: Any) -> None:
        raise OperationalError("the connection is closed")

    monkeypatch.setattr("api.record_views.get", gone)
    refused = office.send("GET", f"batches/{new_id()}", most=503)
    assert problem(refused, 503)["type"] == "urn:dryrecords:problem:no_database"
    assert refused["Retry-After"] == "5"
    assert "connection" not in refused.content.decode()


def test_times_in_order(farm: Farm, office: Client) -> None:
    body = bodies(farm)["batches"] | {"emptied_at": "2025-10-08T12:59:59Z"}
    assert pointers(office.post("batches", body)) == {"/emptied_at": "times_out_of_order"}
    # All at once, which the database alone would not tell.
    both = body | {"cooling_ended_at": "2025-10-08T13:30:00Z", "emptied_at": "2025-10-08T14:00:00Z"}
    assert set(pointers(office.post("batches", both))) == {"/cooling_ended_at", "/emptied_at"}
    path = f"batches/{farm['batches'].pk}"
    assert pointers(office.patch(path, {"drying_ended_at": "2025-10-06T11:00:00Z"})) == {
        "/drying_ended_at": "times_out_of_order"
    }
    # The same moment with another offset.
    assert office.patch(path, {"drying_ended_at": "2025-10-06T07:00:00-05:00"}).status_code == 200


def test_rules_between_fields(farm: Farm, office: Client) -> None:
    all_bodies = bodies(farm)
    bin_too = {"bin": str(farm["bins"].pk)}
    assert pointers(office.post("samples", all_bodies["samples"] | bin_too)) == {"/batch": "one_parent"}
    assert pointers(office.post("fuel-readings", all_bodies["fuel-readings"] | {"gauge_pct": 3})) == {
        "/gauge_pct": "one_figure"
    }
    assert pointers(office.post("power-readings", all_bodies["power-readings"] | {"dryer": None})) == {
        "/dryer": "one_parent"
    }
    assert pointers(office.post("prices", all_bodies["prices"] | {"crop": None})) == {"/crop": "crop_needed"}
    assert pointers(office.patch(f"prices/{farm['prices'].pk}", {"crop": "corn"})) == {"/crop": "crop_needed"}


def test_references_to_nothing(farm: Farm, office: Client) -> None:
    refused = office.post("batches", bodies(farm)["batches"] | {"dryer": str(new_id()), "lot": str(new_id())})
    assert pointers(refused) == {"/dryer": "unknown_reference", "/lot": "unknown_reference"}


def test_an_id_never_changes(farm: Farm, office: Client) -> None:
    path = f"customers/{farm['customers'].pk}"
    assert pointers(office.patch(path, {"id": str(new_id())})) == {"/id": "id_fixed"}
    whole = office.get(path).json() | {"name": "Renamed"}
    changed = office.patch(path, whole)
    assert (changed.status_code, changed.json()["name"], changed.json()["version"]) == (200, "Renamed", 2)


def test_a_record_in_use_is_not_removed(farm: Farm, office: Client) -> None:
    assert problem(office.delete(f"dryers/{farm['dryers'].pk}"), 409)["type"] == "urn:dryrecords:problem:still_used"


def test_an_id_written_in_capitals(farm: Farm, office: Client) -> None:
    assert office.get(f"batches/{str(farm['batches'].pk).upper()}").status_code == 200


def test_a_plain_date_is_its_midnight(farm: Farm, office: Client) -> None:
    made = office.post("prices", bodies(farm)["prices"] | {"effective_from": "2025-11-02"})
    assert made.json()["effective_from"] == "2025-11-02T00:00:00Z"
    assert office.post("prices", bodies(farm)["prices"] | {"unit_price_usd": 4.5}).json()["unit_price_usd"] == "4.5"


def test_the_season_follows_from_the_start_unless_given(farm: Farm, office: Client) -> None:
    body = bodies(farm)["batches"] | {"season": None}
    made = office.post("batches", body)
    assert made.json()["season"] == 2025
    kept = office.patch(made["Location"], {"season": None, "note": "n"})
    assert (kept.status_code, kept.json()["season"]) == (200, 2025)
