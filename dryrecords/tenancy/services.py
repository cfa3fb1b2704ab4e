"""Every write in tenancy: organizations, customers, sites, tokens."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from uuid import UUID

from django.db import transaction

from dryrecords.core import clock
from dryrecords.core.errors import Conflict, Invalid, NotFound
from dryrecords.journal.trail import Actor
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access, Role
from dryrecords.tenancy.models import Customer, Organization, Site, Token
from dryrecords.tenancy.writes import Writer

customers = Writer(Customer)
sites = Writer(Site)

TOKEN_BYTES = 32
LAST_USE_IS_WRITTEN_EVERY = timedelta(minutes=10)


def token_issue(
    *, organization: Organization, role: str, device: str, customer: Customer | None = None
) -> tuple[Token, str]:
    """A new token and its text. The text cannot be shown again."""
    if (role == Role.CUSTOMER) != (customer is not None):
        raise Invalid("A token of the role customer names its customer; no other role does.")
    text = secrets.token_urlsafe(TOKEN_BYTES)
    token = Token.objects.create(
        organization=organization, role=role, device=device, customer=customer, digest=digest_of(text)
    )
    return token, text


def token_rotate(organization: Organization, device: str, grace: timedelta) -> tuple[Token, str]:
    """A new token for the device of the old one, which is good for `grace` longer."""
    in_force = Token.objects.filter(
        organization=organization, device=device, revoked_at__isnull=True, valid_until__isnull=True
    )
    with transaction.atomic():
        held = list(in_force.select_for_update(of=("self",)).select_related("customer")[:2])
        if not held:
            raise NotFound(f"No token of {device!r} is in force.")
        if len(held) > 1:
            raise Conflict(f"More than one token of {device!r} is in force: revoke them and issue one.")
        Token.objects.filter(pk=held[0].pk).update(valid_until=clock.now() + grace)
        return token_issue(organization=organization, role=held[0].role, device=device, customer=held[0].customer)


def device_revoke(organization: Organization, device: str) -> int:
    """Every token of the device is void at once; how many there were."""
    tokens = Token.objects.filter(organization=organization, device=device, revoked_at__isnull=True)
    count = tokens.update(revoked_at=clock.now())
    if not count:
        raise NotFound(f"No token of {device!r} is in force.")
    return count


def token_revoke(token_id: UUID) -> None:
    if not Token.objects.filter(pk=token_id, revoked_at__isnull=True).update(revoked_at=clock.now()):
        raise NotFound("There is no such token in force.")


def access_of_token(text: str, request_id: str = "") -> Access | None:
    """Who holds this token, or None if it is unknown or revoked."""
    # A function of the database finds it: of which organization a request is, is not known yet.
    token = next(iter(Token.objects.raw("SELECT * FROM tenancy_token_of(%s)", [digest_of(text)])), None)
    moment = clock.now()
    if token is None or token.revoked_at is not None or (token.valid_until is not None and token.valid_until <= moment):
        return None
    if token.last_used_at is None or moment - token.last_used_at > LAST_USE_IS_WRITTEN_EVERY:
        with scope.organization(token.organization_id):
            Token.objects.filter(pk=token.pk).update(last_used_at=moment)
    return Access(
        organization_id=token.organization_id,
        role=token.role,
        actor=Actor(name=f"{token.role} token", device=token.device, request_id=request_id),
        customer_id=token.customer_id,
        token_id=token.pk,
    )


def access_of_command(organization: Organization, command: str) -> Access:
    """The operator of the service at the command line."""
    return Access(organization_id=organization.pk, role=Role.OWNER, actor=Actor(name=f"command {command}"))


def digest_of(text: str) -> str:
    # The text is 256 random bits, so a plain hash is enough: there is nothing to guess.
    return hashlib.sha256(text.encode()).hexdigest()
