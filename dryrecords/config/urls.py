"""Every address of the service."""

from django.contrib import admin
from django.urls import include, path
from django.views.generic import RedirectView

from api import health
from dryrecords.config.office_edge import HELD, SHEETS
from dryrecords.config.sign_in import sign_in_page
from dryrecords.office import urls as office
from dryrecords.office.edge_urls import edge_pages

# What the API does for the pages is passed to them here: they do not know the API.
office_pages = ([*edge_pages(HELD, SHEETS), *office.urlpatterns], office.app_name)

urlpatterns = [
    path("", RedirectView.as_view(pattern_name="office:board")),
    path("api/v1", include("api.urls")),
    path("office", include(office_pages)),
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("metrics", health.metrics),
    path("admin/login/", sign_in_page),
    path("admin/", admin.site.urls),
]

handler400 = "dryrecords.config.refusals.bad_request"
handler403 = "dryrecords.config.refusals.forbidden"
handler404 = "dryrecords.config.refusals.not_found"
handler500 = "dryrecords.config.refusals.server_error"
