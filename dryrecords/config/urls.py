"""Every address of the service."""

from django.contrib import admin
from django.urls import include, path

from api import health
from dryrecords.config.sign_in import sign_in_page

urlpatterns = [
    path("api/v1", include("api.urls")),
    path("office", include("dryrecords.office.urls")),
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
