"""Addresses of the pages that the API's edge works for."""

from __future__ import annotations

from django.urls import URLPattern, path

from dryrecords.core import converters as converters
from dryrecords.office.edge import HeldEdge, SheetsEdge
from dryrecords.office.held import DismissHeld, HeldList, HeldPage
from dryrecords.office.sheets import SheetErrors, SheetPage, SheetsPage, TakeIn


def edge_pages(held: HeldEdge, sheets: SheetsEdge) -> list[URLPattern]:
    return [
        path("/held", HeldList.as_view(), name="held"),
        path("/held/<id:id>", HeldPage.as_view(edge=held), name="held-one"),
        path("/held/<id:id>/dismiss", DismissHeld.as_view(), name="held-dismiss"),
        path("/sheets", SheetsPage.as_view(edge=sheets), name="sheets"),
        path("/sheets/<id:id>", SheetPage.as_view(edge=sheets), name="sheet"),
        path("/sheets/<id:id>/take-in", TakeIn.as_view(edge=sheets), name="sheet-take-in"),
        path("/sheets/<id:id>/errors.csv", SheetErrors.as_view(edge=sheets), name="sheet-errors"),
    ]
