"""The second wall: of which organizations the database answers, said to it at the start of every transaction.

Policies on every table with an organization show and take only rows of the organizations named here; with none named
there are no rows. What is said ends with the transaction, so that nothing is left on a connection for the next request.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple, TypeVar
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from psycopg.pq import TransactionStatus

from dryrecords.tenancy.models import Organization

T = TypeVar("T")


class Scope(NamedTuple):
    """No list of organizations stands for all there are."""

    organizations: str | None = ""
    sweep: bool = False


_SAY = (
    "SELECT set_config('dryrecords.organizations',"
    " coalesce(%s, (SELECT string_agg(id::text, ',') FROM tenancy_organization), ''), true),"
    " set_config('dryrecords.sweep', %s, true)"
)
_ROLE = ", set_config('role', %s, true)"
_SAID = (
    "SELECT coalesce(current_setting('dryrecords.organizations', true), ''),"
    " coalesce(current_setting('dryrecords.sweep', true), ''), current_setting('role')"
)

# Connections are each a thread's own, and so is what is said on them.
_here = threading.local()


def organization(organization_id: UUID) -> contextlib.AbstractContextManager[None]:
    """For requests and tasks: one organization. Every transaction that begins within is told of it."""
    return _scoped(Scope(str(organization_id)))


def sweep() -> contextlib.AbstractContextManager[None]:
    """For whoever looks for work: stale marks of all organizations, and not a row of any other table."""
    return _scoped(Scope(sweep=True))


def operator() -> contextlib.AbstractContextManager[None]:
    """For the operator's admin alone: all organizations, named one by one. Nothing turns the wall off."""
    return _scoped(Scope(organizations=None))


def each_organization() -> Iterator[UUID]:
    """For chores and commands that concern all: one after the other, in the scope of each while it has its turn."""
    for organization_id in Organization.objects.order_by("pk").values_list("pk", flat=True):
        with organization(organization_id):
            yield organization_id


def reading(organization_id: UUID, pages: Iterator[T]) -> Iterator[T]:
    """What is read bit by bit after its request is over, as a streamed answer is: each bit in the scope."""
    while True:
        with organization(organization_id):
            try:
                page = next(pages)
            except StopIteration:
                return
        yield page


@contextlib.contextmanager
def _scoped(scope: Scope) -> Iterator[None]:
    outer = _scope()
    # Inside a transaction that somebody else began, what was said before has to be said again at the end.
    said = _ask() if connection.in_atomic_block else None
    if said:
        _say(*_parts(scope))
    _here.scope = scope
    try:
        with contextlib.nullcontext() if outer else connection.execute_wrapper(_say_first):
            yield
    finally:
        _here.scope = outer
        if said and _is_in_transaction():
            _say(*said)


def _say_first(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: dict[str, Any]) -> Any:
    """Before the first statement of a transaction; a statement without one gets its own.

    Of statements that go past Django's cursors it hears nothing: one of Django's has to go before them.
    """
    held = context["connection"]
    if not _is_idle(held):
        return execute(sql, params, many, context)
    with contextlib.nullcontext() if held.in_atomic_block else transaction.atomic():
        _say(*_parts(_here.scope))
        return execute(sql, params, many, context)


def _parts(scope: Scope) -> tuple[str | None, str, str]:
    return scope.organizations, "on" if scope.sweep else "", settings.SCOPE_ROLE


def _say(organizations: str | None, sweep: str, role: str) -> None:
    """One statement for all of it, past the cursors that call us."""
    sql, parameters = (_SAY + _ROLE, (organizations, sweep, role)) if role else (_SAY, (organizations, sweep))
    with connection.wrap_database_errors:
        connection.connection.execute(sql, parameters)


def _ask() -> tuple[str, str, str]:
    connection.ensure_connection()
    with connection.wrap_database_errors:
        organizations, sweep, role = connection.connection.execute(_SAID).fetchone()
    return organizations, sweep, role


def _scope() -> Scope | None:
    return getattr(_here, "scope", None)


def _is_idle(held: Any) -> bool:
    """No statement has been sent in this transaction, or there is none."""
    return bool(held.connection.info.transaction_status == TransactionStatus.IDLE)


def _is_in_transaction() -> bool:
    held = connection.connection
    return bool(held is not None and held.info.transaction_status == TransactionStatus.INTRANS)
