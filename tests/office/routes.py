"""Every page, for the tests that walk them all. A new one needs a row here."""

from __future__ import annotations

from uuid import UUID

from dryrecords.office.kinds import KINDS

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
# Pages with a form, and the kind of record that it writes: for who may write that, and for nobody else.
FORMS: dict[str, str] = {"office/enter": "batches"}
# Pages that tell of what came from elsewhere; their ids are no records'. They have tests of their own.
OF_THE_EDGE = {
    "office/held": ["GET"],
    "office/held/<id:id>": ["GET", "POST"],
    "office/held/<id:id>/dismiss": ["POST"],
    "office/sheets": ["GET", "POST"],
    "office/sheets/<id:id>": ["GET"],
    "office/sheets/<id:id>/take-in": ["POST"],
    "office/sheets/<id:id>/errors.csv": ["GET"],
}
WITHOUT_ID |= {"office/enter": ["GET"], "office/gaps": ["GET"]}
for _name, _kind in KINDS.items():
    for _below in _kind.parents:
        if _below:
            WITH_ID[f"office/{_below}/<id:id>/{_name}"] = (_below, ["GET"])
            WITH_ID[_new := f"office/{_below}/<id:id>/{_name}/new"] = (_below, ["GET", "POST"])
        else:
            WITHOUT_ID[_new := f"office/{_name}/new"] = ["GET", "POST"]
        FORMS[_new] = _name
    for _does, _methods in (("correct", ["GET", "POST"]), ("remove", ["POST"]), ("restore", ["GET", "POST"])):
        WITH_ID[f"office/{_name}/<id:id>/{_does}"] = (_name, _methods)
        FORMS[f"office/{_name}/<id:id>/{_does}"] = _name

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
