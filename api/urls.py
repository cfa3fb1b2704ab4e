"""Routes of /api/v1."""

from __future__ import annotations

from django.urls import path
from drf_spectacular.views import SpectacularSwaggerView

from api.advice import AdviceForNext
from api.air import Air, Airflow
from api.audits import AuditList, CancelAudit, Findings, FindingsCsv, OneAudit
from api.bulk import Bulk
from api.forecasts import AskGrid, Forecast, Grid
from api.fuel import Account, DryerEfficiency, TankVaporisation
from api.grain import Equilibrium, Shrink, StorageTime
from api.imports.views import Errors, ImportList, OneImport
from api.learned import Calibration
from api.meter_comparison import MeterComparison
from api.outlook import SiteOutlook
from api.quotes import AskQuote, Table
from api.record_views import Collection, History, Restore, Single
from api.root import RESOURCES, Root
from api.schema import openapi
from api.season import Result, Season, SiteSeason
from api.statements import HTML, PDF, OneStatement, StatementList
from api.storage import Storage
from api.sync_changes import Changes
from api.sync_push import Dismiss, Held, HeldList, Push, Resubmit
from dryrecords.core import converters as converters
from dryrecords.season.account_keys import DRYER, SITE

urlpatterns = [
    path("", Root.as_view(), name="root"),
    path("/schema", openapi, name="schema"),
    path("/docs", SpectacularSwaggerView.as_view(url_name="schema"), name="docs"),
    path("/batches/<id:id>/result", Result.as_view(), name="batch-result"),
    path("/sites/<id:id>/seasons/<year:season>", SiteSeason.as_view(), name="site-season"),
    path("/seasons/<year:season>", Season.as_view(), name="season"),
    path("/dryers/<id:id>/forecast", Forecast.as_view(), name="dryer-forecast"),
    path("/dryers/<id:id>/forecast-grids", AskGrid.as_view(), name="dryer-forecast-grids"),
    path("/forecast-grids/<id:id>", Grid.as_view(), name="forecast-grid"),
    path("/dryers/<id:id>/calibration", Calibration.as_view(), name="dryer-calibration"),
    path("/dryers/<id:id>/advice", AdviceForNext.as_view(), name="dryer-advice"),
    path("/tanks/<id:id>/account", Account.as_view(), name="tank-account"),
    path("/tanks/<id:id>/vaporisation", TankVaporisation.as_view(), name="tank-vaporisation"),
    path("/dryers/<id:id>/power-account", Account.as_view(kind=DRYER), name="dryer-power-account"),
    path("/sites/<id:id>/power-account", Account.as_view(kind=SITE), name="site-power-account"),
    path("/dryers/<id:id>/efficiency", DryerEfficiency.as_view(), name="dryer-efficiency"),
    path("/sites/<id:id>/outlook", SiteOutlook.as_view(), name="site-outlook"),
    path("/bins/<id:id>/storage", Storage.as_view(), name="bin-storage"),
    path("/schedules/<id:id>/quote", AskQuote.as_view(), name="schedule-quote"),
    path("/schedules/<id:id>/table", Table.as_view(), name="schedule-table"),
    path("/grain/shrink", Shrink.as_view(), name="grain-shrink"),
    path("/imports", ImportList.as_view(), name="imports"),
    path("/imports/<id:id>", OneImport.as_view(), name="imports-one"),
    path("/imports/<id:id>/errors.csv", Errors.as_view(), name="imports-errors"),
    path("/statements", StatementList.as_view(), name="statements"),
    path("/statements/<id:id>", OneStatement.as_view(), name="statements-one"),
    path("/statements/<id:id>.html", OneStatement.as_view(form=HTML), name="statements-html"),
    path("/statements/<id:id>.pdf", OneStatement.as_view(form=PDF), name="statements-pdf"),
    path("/meters/comparison", MeterComparison.as_view(), name="meters-comparison"),
    path("/audits", AuditList.as_view(), name="audits"),
    path("/audits/<id:id>", OneAudit.as_view(), name="audits-one"),
    path("/audits/<id:id>/cancel", CancelAudit.as_view(), name="audits-cancel"),
    path("/audits/<id:id>/findings", Findings.as_view(), name="audits-findings"),
    path("/audits/<id:id>/findings.csv", FindingsCsv.as_view(), name="audits-findings-csv"),
    path("/sync/changes", Changes.as_view(), name="sync-changes"),
    path("/sync/push", Push.as_view(), name="sync-push"),
    path("/sync/held", HeldList.as_view(), name="sync-held"),
    path("/sync/held/<id:id>", Held.as_view(), name="sync-held-one"),
    path("/sync/held/<id:id>/resubmit", Resubmit.as_view(), name="sync-held-resubmit"),
    path("/sync/held/<id:id>/dismiss", Dismiss.as_view(), name="sync-held-dismiss"),
    path("/grain/equilibrium", Equilibrium.as_view(), name="grain-equilibrium"),
    path("/grain/air", Air.as_view(), name="grain-air"),
    path("/grain/airflow", Airflow.as_view(), name="grain-airflow"),
    path("/grain/storage-time", StorageTime.as_view(), name="grain-storage-time"),
]
urlpatterns += [
    path(f"/{_resource.name}/bulk", Bulk.as_view(resource=_resource), name=f"{_resource.name}-bulk")
    for _resource in RESOURCES
    if _resource.name in ("readings", "samples")
]
for _resource in RESOURCES:
    urlpatterns += [
        path(f"/{_resource.name}", Collection.as_view(resource=_resource), name=_resource.name),
        path(f"/{_resource.name}/<id:id>", Single.as_view(resource=_resource), name=f"{_resource.name}-one"),
        path(
            f"/{_resource.name}/<id:id>/history",
            History.as_view(resource=_resource),
            name=f"{_resource.name}-history",
        ),
        path(
            f"/{_resource.name}/<id:id>/restore",
            Restore.as_view(resource=_resource),
            name=f"{_resource.name}-restore",
        ),
    ]
