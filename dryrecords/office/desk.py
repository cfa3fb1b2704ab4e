"""At which organization's desk somebody signed in sits, and in which role: the Access of every page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest

from dryrecords.core.errors import NotFound
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Membership, Organization
from dryrecords.tenancy.people import access_of_member, memberships_of

# Kept in the session; what it allows is looked up anew for every page.
CHOSEN = "organization"


@dataclass(frozen=True)
class Desk:
    access: Access
    organization: Organization
    person: str
    role: str
    has_others: bool

    @property
    def currency(self) -> str:
        return self.organization.currency

    @property
    def may_record(self) -> bool:
        """Something of what happens in the yard, at least."""
        return self.access.may_write("batches")


def desk_of(request: HttpRequest) -> Desk | None:
    """None for who belongs to no organization, or to several and has not chosen one."""
    person: Any = request.user
    memberships = memberships_of(person)
    membership = _chosen(memberships, request.session.get(CHOSEN))
    if membership is None:
        return None
    access = access_of_member(membership, person, getattr(request, "request_id", ""))
    return Desk(
        access=access,
        organization=membership.organization,
        person=access.actor.name,
        role=membership.get_role_display().lower(),
        has_others=len(memberships) > 1,
    )


def _chosen(memberships: list[Membership], organization_id: str | None) -> Membership | None:
    if len(memberships) == 1:
        return memberships[0]
    return next((each for each in memberships if str(each.organization_id) == organization_id), None)


def choose(request: HttpRequest, organization_id: UUID) -> None:
    person: Any = request.user
    if organization_id not in {each.organization_id for each in memberships_of(person)}:
        raise NotFound()
    request.session[CHOSEN] = str(organization_id)
