"""Every page, for the tests that walk them all. A new one needs a row here."""

from __future__ import annotations

from uuid import UUID

# Pages of somebody signed in, that name no record.
WITHOUT_ID = {
    "office": ["GET"],
    "office/seasons/<year:season>": ["GET"],
    "office/batches": ["GET"],
}
# Pages with an id in the path, the kind of record it is of, and every method they have.
WITH_ID = {
    "office/sites/<id:id>": ("sites", ["GET"]),
    "office/sites/<id:id>/seasons/<year:season>": ("sites", ["GET"]),
    "office/sites/<id:id>/outlook": ("sites", ["GET"]),
    "office/dryers/<id:id>": ("dryers", ["GET"]),
    "office/tanks/<id:id>": ("tanks", ["GET"]),
    "office/tanks/<id:id>/seasons/<year:season>": ("tanks", ["GET"]),
    "office/bins/<id:id>": ("bins", ["GET"]),
    "office/batches/<id:id>": ("batches", ["GET"]),
}
# Of a person, before any organization, or of nobody: they have tests of their own.
OF_A_PERSON = {
    "office/sign-in": ["GET", "POST"],
    "office/sign-out": ["POST"],
    "office/organizations": ["GET", "POST"],
    "office/password": ["GET", "POST"],
    "office/<path:rest>": [],
}


def path_of(address: str, record_id: UUID | None = None) -> str:
    return "/" + address.replace("<id:id>", str(record_id)).replace("<year:season>", "2025")
