"""Addresses of the forms, made from the kinds of records: below a parent, of a record, lists below a parent."""

from __future__ import annotations

from collections.abc import Iterator

from django.urls import URLPattern, path

from dryrecords.core import converters as converters
from dryrecords.office.entering import Correct, New, Remove, Restore
from dryrecords.office.kinds import KINDS
from dryrecords.office.listed import Listed
from dryrecords.office.record_form import Kind


def _of(kind: Kind) -> Iterator[URLPattern]:
    name = kind.resource
    for below in kind.parents:
        if below:
            yield path(f"/{below}/<id:id>/{name}/new", New.as_view(kind=kind, below=below), name=f"new-{below}-{name}")
            yield path(f"/{below}/<id:id>/{name}", Listed.as_view(kind=kind, below=below), name=f"{below}-{name}")
        else:
            yield path(f"/{name}/new", New.as_view(kind=kind), name=f"new-{name}")
    yield path(f"/{name}/<id:id>/correct", Correct.as_view(kind=kind), name=f"correct-{name}")
    yield path(f"/{name}/<id:id>/remove", Remove.as_view(kind=kind), name=f"remove-{name}")
    yield path(f"/{name}/<id:id>/restore", Restore.as_view(kind=kind), name=f"restore-{name}")


urlpatterns = [pattern for kind in KINDS.values() for pattern in _of(kind)]
