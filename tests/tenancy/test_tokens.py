"""Tokens: shown once, stored as a hash, revocable, and found by `issue_token`."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dryrecords.core.errors import Invalid
from dryrecords.tenancy.models import Customer, Organization, Token
from dryrecords.tenancy.services import access_of_token, token_issue, token_revoke
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def issue(*words: str) -> str:
    out = StringIO()
    call_command("issue_token", *words, stdout=out)
    return out.getvalue()


def test_text_of_a_token_is_not_stored() -> None:
    text = make.token(make.organization())
    stored = Token.objects.values().get()
    assert text not in str(stored)
    assert access_of_token(text).role == "owner"


def test_revoked_token_opens_nothing() -> None:
    token, text = token_issue(organization=make.organization(), role="operator", device="phone")
    token_revoke(token.pk)
    assert access_of_token(text) is None


def test_customer_role_needs_a_customer_and_only_it_has_one() -> None:
    farm = make.farm()
    with pytest.raises(Invalid):
        token_issue(organization=make.organization(), role="customer", device="phone")
    with pytest.raises(Invalid):
        token_issue(organization=make.organization(), role="office", device="pc", customer=farm["customers"])


def test_command_prints_only_the_token() -> None:
    printed = issue("--organization", "New", "--role", "office", "--device", "pc", "--create")
    assert printed.count("\n") == 1
    access = access_of_token(printed.strip())
    assert access is not None
    assert access.actor.device == "pc"


def test_command_makes_nothing_unless_told() -> None:
    with pytest.raises(CommandError, match="--create"):
        issue("--organization", "Nowhere", "--role", "office", "--device", "pc")
    with pytest.raises(CommandError, match="names its customer"):
        issue("--organization", "Nowhere", "--role", "customer", "--device", "pc", "--create")
    assert not Organization.objects.filter(name="Nowhere").exists()


def test_command_for_a_customer_finds_it_by_name() -> None:
    for _ in range(2):
        issue("--organization", "O", "--role", "customer", "--customer", "C", "--device", "phone", "--create")
    assert Customer.objects.filter(name="C").count() == 1
