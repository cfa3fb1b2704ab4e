"""Tokens that are replaced, devices that are locked out, requests and sign-ins that are too many."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command
from django.test import Client as Browser

from api import throttling
from dryrecords.core import clock
from dryrecords.tenancy import sign_in
from dryrecords.tenancy.models import SignIn, Token
from dryrecords.tenancy.services import access_of_token
from tests import factories as make
from tests.api.client import Client
from tests.api.test_problems import problem

pytestmark = [pytest.mark.django_db, pytest.mark.services]

ORGANIZATION = "Invented Drying"
PASSWORD = "long enough for this"


def run(command: str, **options: Any) -> str:
    out = StringIO()
    call_command(command, organization=ORGANIZATION, stdout=out, **options)
    return out.getvalue().strip()


def test_a_rotated_token_is_good_for_the_grace_given() -> None:
    farm = make.farm()
    old = make.token(make.organization(), "customer", farm["customers"], device="phone")
    new = run("rotate_token", device="phone", grace=2)
    assert new != old
    for text in (old, new):
        assert access_of_token(text).customer_id == farm["customers"].pk
    with time_machine.travel(clock.now() + timedelta(hours=2, minutes=1)):
        assert access_of_token(old) is None
        assert access_of_token(new).actor.device == "phone"


def test_without_grace_the_old_token_is_over_at_once() -> None:
    old = make.token(make.organization(), device="phone")
    run("rotate_token", device="phone", grace=0)
    assert access_of_token(old) is None


def test_rotation_knows_which_token_is_meant() -> None:
    with pytest.raises(CommandError, match="There is no organization"):
        run("rotate_token", device="phone")
    make.token(make.organization(), device="phone")
    make.token(make.organization("Another Invented Drying"), device="pc")
    with pytest.raises(CommandError, match="No token of 'pc'"):
        run("rotate_token", device="pc")
    make.token(make.organization(), "operator", device="phone")
    with pytest.raises(CommandError, match="More than one"):
        run("rotate_token", device="phone")
    assert Token.objects.filter(valid_until__isnull=False).count() == 0


def test_a_lost_device_is_locked_out_and_no_other() -> None:
    lost = [make.token(make.organization(), device="phone") for _ in range(2)]
    kept = make.token(make.organization(), device="pc")
    elsewhere = make.token(make.organization("Another Invented Drying"), device="phone")
    assert run("revoke_token", device="phone") == "2 revoked."
    assert [access_of_token(text) for text in lost] == [None, None]
    assert access_of_token(kept)
    assert access_of_token(elsewhere)
    with pytest.raises(CommandError, match="No token of 'phone'"):
        run("revoke_token", device="phone")


@pytest.fixture
def limits(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(throttling, "buckets", throttling.Buckets())
    return settings


def statuses(client: Client, count: int) -> list[int]:
    return [client.get("customers").status_code for _ in range(count)]


def test_a_token_in_a_hurry_waits_and_another_does_not(limits: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    limits.TOKEN_REQUESTS_PER_S = 1
    now = [1000.0]
    monkeypatch.setattr(throttling, "monotonic", lambda: now[0])
    one, other = (Client(make.token(make.organization(), device=device)) for device in ("a", "b"))
    assert statuses(one, 11) == [200] * throttling.BURST_S + [429]
    refused = one.get("customers")
    assert problem(refused, 429)["type"] == "urn:dryrecords:problem:throttled"
    assert refused["Retry-After"] == "1"
    assert statuses(other, 2) == [200, 200]
    now[0] += 1
    assert statuses(one, 2) == [200, 429]
    now[0] += 1000
    assert statuses(one, 11) == [200] * 10 + [429]


def test_an_address_in_a_hurry_waits_before_its_token_is_looked_at(limits: Any) -> None:
    limits.ADDRESS_REQUESTS_PER_S = 1
    told = statuses(Client("guessed"), 14)
    assert told[:10] == [401] * 10
    assert told[-1] == 429


def test_behind_a_proxy_the_address_is_the_one_the_proxy_saw(settings: Any) -> None:
    request = Browser().get("/health/live", headers={"X-Forwarded-For": "1.2.3.4, 5.6.7.8"}).wsgi_request
    assert throttling.address_of(request) == "127.0.0.1"
    settings.BEHIND_PROXY = True
    assert throttling.address_of(request) == "5.6.7.8"


def test_buckets_do_not_grow_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(throttling, "MOST_KEPT", 3)
    buckets = throttling.Buckets()
    for key in range(10):
        assert buckets.take(key, 1.0) == 0
    assert list(buckets._held) == [7, 8, 9]


def try_password(browser: Browser, name: str, password: str) -> Any:
    return browser.post("/admin/login/", {"username": name, "password": password, "next": "/admin/"})


def test_passwords_are_not_guessed_at_leisure() -> None:
    get_user_model().objects.create_superuser("operator", password=PASSWORD)
    browser = Browser()
    assert browser.get("/admin/login/").status_code == 200
    for _ in range(3):
        assert try_password(browser, "operator", PASSWORD).status_code == 302
    assert SignIn.objects.count() == 0
    for _ in range(sign_in.OF_ADDRESS):
        assert try_password(browser, "operator", "wrong").status_code == 200
    refused = try_password(browser, "operator", PASSWORD)
    assert (refused.status_code, refused["Retry-After"]) == (429, "900")
    elsewhere = Browser(REMOTE_ADDR="10.0.0.2")
    assert try_password(elsewhere, "operator", PASSWORD).status_code == 302
    with time_machine.travel(clock.now() + sign_in.WITHIN + timedelta(seconds=1)):
        assert try_password(browser, "operator", PASSWORD).status_code == 302
    assert "operator" not in str(list(SignIn.objects.values()))


def test_one_name_is_not_guessed_from_everywhere() -> None:
    for n in range(sign_in.OF_NAME):
        assert sign_in.attempt("Operator", f"10.0.0.{n}") is not None
    assert sign_in.attempt("operator", "10.0.1.1") is None
    assert sign_in.attempt("another", "10.0.1.1") is not None


def test_answers_carry_the_headers_that_keep_browsers_from_harm() -> None:
    for address in ("/api/v1/customers", "/api/v1", "/admin/login/"):
        answer = Browser().get(address)
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["X-Frame-Options"] == "DENY"
        assert answer["Referrer-Policy"] == "same-origin"
        if address.startswith("/api"):
            assert "default-src 'none'" in answer["Content-Security-Policy"]
            assert answer["Cache-Control"] == "private, no-cache"
