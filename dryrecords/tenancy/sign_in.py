"""How often somebody may try to sign in, to the pages or the admin. Kept in the database: passwords can be guessed.

An attempt is written down before the password is looked at, so that a hundred at once do not slip through together.
"""

from __future__ import annotations

import hashlib
from datetime import timedelta

from dryrecords.core import clock
from dryrecords.tenancy.models import SignIn

WITHIN = timedelta(minutes=15)
# From one address; and for one name from anywhere, so many that its owner is not easily locked out by others.
OF_ADDRESS, OF_NAME = 10, 50


def attempt(name: str, address: str) -> int | None:
    """The number of the attempt, to be given to `succeeded`; None if there were too many: come back in WITHIN."""
    since = clock.now() - WITHIN
    SignIn.objects.filter(at__lt=since).delete()
    row = SignIn.objects.create(name=_digest(name.casefold()), address=_digest(address), at=clock.now())
    if (
        SignIn.objects.filter(address=row.address, at__gte=since).count() > OF_ADDRESS
        or SignIn.objects.filter(name=row.name, at__gte=since).count() > OF_NAME
    ):
        # Not counted: whoever waits for the time given is let in again.
        row.delete()
        return None
    return row.pk


def succeeded(number: int) -> None:
    SignIn.objects.filter(pk=number).delete()


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
