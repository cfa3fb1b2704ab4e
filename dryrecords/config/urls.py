"""Every address of the service."""

from django.contrib import admin
from django.urls import include, path

from api import health
from dryrecords.config.sign_in import sign_in_page

urlpatterns = [
    path("api/v1", include("api.urls")),
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("metrics", health.metrics),
    path("admin/login/", sign_in_page),
    path("admin/", admin.site.urls),
]

handler400 = "api.problems.bad_request"
handler403 = "api.problems.forbidden"
handler404 = "api.problems.not_found"
handler500 = "api.problems.server_error"
