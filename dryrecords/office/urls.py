"""Addresses of the pages, under /office."""

from __future__ import annotations

from django.urls import path

from dryrecords.core import converters as converters
from dryrecords.office import record_urls
from dryrecords.office.batch import BatchPage
from dryrecords.office.batch_list import BatchListPage
from dryrecords.office.bin import BinPage
from dryrecords.office.board import BoardPage
from dryrecords.office.dryer import DryerPage
from dryrecords.office.enter import EnterPage
from dryrecords.office.gaps import GapsPage
from dryrecords.office.outlook import OutlookPage
from dryrecords.office.pages import Nowhere
from dryrecords.office.sign_in import Organizations, Password, SignIn, SignOut
from dryrecords.office.site import SitePage
from dryrecords.office.tank import TankPage

app_name = "office"

urlpatterns = [
    path("", BoardPage.as_view(), name="board"),
    path("/seasons/<year:season>", BoardPage.as_view(), name="season"),
    path("/sites/<id:id>", SitePage.as_view(), name="site"),
    path("/sites/<id:id>/seasons/<year:season>", SitePage.as_view(), name="site-season"),
    path("/sites/<id:id>/outlook", OutlookPage.as_view(), name="outlook"),
    path("/dryers/<id:id>", DryerPage.as_view(), name="dryer"),
    path("/tanks/<id:id>", TankPage.as_view(), name="tank"),
    path("/tanks/<id:id>/seasons/<year:season>", TankPage.as_view(), name="tank-season"),
    path("/bins/<id:id>", BinPage.as_view(), name="bin"),
    path("/batches", BatchListPage.as_view(), name="batches"),
    path("/batches/<id:id>", BatchPage.as_view(), name="batch"),
    path("/sign-in", SignIn.as_view(), name="sign-in"),
    path("/sign-out", SignOut.as_view(), name="sign-out"),
    path("/organizations", Organizations.as_view(), name="organizations"),
    path("/password", Password.as_view(), name="password"),
    path("/enter", EnterPage.as_view(), name="enter"),
    path("/gaps", GapsPage.as_view(), name="gaps"),
    *record_urls.urlpatterns,
    # Last: whatever else is asked for below /office is refused by a page.
    path("/<path:rest>", Nowhere.as_view(), name="nowhere"),
]
