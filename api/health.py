"""Health and metrics: is the process alive, can it reach its database, how much work is waiting."""

from __future__ import annotations

from django.db import OperationalError, connection
from django.db.models import F
from django.http import HttpRequest, HttpResponse, JsonResponse
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Gauge, generate_latest

from dryrecords.journal.models import StaleMark
from dryrecords.tenancy import scope


def live(request: HttpRequest) -> HttpResponse:
    return JsonResponse({"status": "ok"})


def ready(request: HttpRequest) -> HttpResponse:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except OperationalError:
        return JsonResponse({"status": "no database"}, status=503)
    return JsonResponse({"status": "ok"})


def metrics(request: HttpRequest) -> HttpResponse:
    registry = CollectorRegistry()
    waiting = Gauge("dryrecords_stale_marks", "Figures wanted anew and not yet computed", registry=registry)
    failing = Gauge("dryrecords_failing_marks", "Of these, the ones that failed at least once", registry=registry)
    marks = StaleMark.objects.filter(wanted__gt=F("done"))
    with scope.sweep():
        waiting.set(marks.count())
        failing.set(marks.exclude(last_error="").count())
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
