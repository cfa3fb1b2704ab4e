"""The invented demo season: loads the CSV files through the API's own serializers, and prints what came of it."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

from django.contrib.auth.models import User
from django.db import transaction

from api.csv_rows import bodies
from api.resources import Resource
from api.root import RESOURCES
from dryrecords.core import clock
from dryrecords.core.decimals import cents
from dryrecords.core.quantities import UNITS
from dryrecords.season import selectors, services
from dryrecords.season.selectors import SeasonOverview, SeasonView
from dryrecords.settlement.models import Statement
from dryrecords.settlement.statement_services import issue
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access, Role
from dryrecords.tenancy.models import Customer, Organization, Token
from dryrecords.tenancy.people import password_renew, person_add
from dryrecords.tenancy.services import access_of_command, token_issue

ORGANIZATION = "Patchwork Moon Custom Drying"
SEASON = 2025
DEVICE = "demo"
PERSON = "demo"
FILES = Path(__file__).resolve().parents[2] / "fixtures" / "season"
COMPUTED_WITHIN_S = 120

NOTE = (
    "Figures are those of the complete batches. Fuel read over several batches is allocated to them; what no readings"
    "\nenclose is estimated: 0.02 gal of propane a point and wet bushel. Gallons leave gas out, which is in therms."
    "\nOver-drying lowers the market bushels, beside the shrink."
)
CAUTION = (
    "Estimates from records; they control nothing. Dryers burn gas and bins kill: follow local codes, the equipment's"
    "\nmanual and licensed practice, and never enter a bin while grain moves."
)


def load() -> int:
    """Load what is not there yet; the number of records that were new."""
    organization = Organization.objects.get_or_create(name=ORGANIZATION)[0]
    access = access_of_command(organization, "demo")
    with scope.organization(organization.pk), transaction.atomic():
        return sum(_load_file(access, resource) for resource in RESOURCES)


def _load_file(access: Access, resource: Resource) -> int:
    with (FILES / f"{resource.name}.csv").open(newline="") as lines:
        rows = list(bodies(resource.serializer, lines))
    known = {str(pk) for pk in resource.model.objects.values_list("pk", flat=True)}
    new = [row for row in rows if row["id"] not in known]
    if new:
        resource.writer.create_many(access, [_validated(resource, row) for row in new])
    return len(new)


def _validated(resource: Resource, row: dict[str, object]) -> dict[str, object]:
    serializer = resource.serializer(data=row)
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def wait_until_computed() -> None:
    """The worker computes; here we only look."""
    organization = Organization.objects.get(name=ORGANIZATION)
    until = time.monotonic() + COMPUTED_WITHIN_S
    while not _everything_fresh(organization):
        if time.monotonic() > until:
            failed = services.all_failures()
            reason = f"{failed[0][0]} {failed[0][1]}: {failed[0][2]}" if failed else "no worker took the work up"
            raise TimeoutError(f"The season was not computed within {COMPUTED_WITHIN_S} s: {reason}")
        time.sleep(0.05)


def _everything_fresh(organization: Organization) -> bool:
    with scope.organization(organization.pk):
        return services.everything_fresh(organization.pk)


def new_token() -> str:
    """A token for looking around; the one of the last start is revoked."""
    organization = Organization.objects.get(name=ORGANIZATION)
    with scope.organization(organization.pk):
        Token.objects.filter(organization=organization, device=DEVICE, revoked_at__isnull=True).update(
            revoked_at=clock.now()
        )
        return token_issue(organization=organization, role=Role.OWNER, device=DEVICE)[1]


def statement() -> Statement:
    """That of the first customer, issued by the first start that gets so far."""
    organization = Organization.objects.get(name=ORGANIZATION)
    with scope.organization(organization.pk), transaction.atomic():
        held = Statement.objects.select_related("customer").filter(season=SEASON).order_by("number").first()
        customer = Customer.objects.filter(deleted_at__isnull=True).order_by("reference").first()
        assert customer is not None
        return held or issue(access_of_command(organization, "demo"), customer.pk, SEASON)


def new_password() -> str:
    """Of the invented person who looks at the pages; with every start another one."""
    organization = Organization.objects.get(name=ORGANIZATION)
    if User.objects.filter(username=PERSON).exists():
        return password_renew(PERSON)
    return person_add(organization=organization, role=Role.OWNER, name=PERSON)[1]


HEAD = (
    "site",
    "batches",
    "complete",
    "fuel metered",
    "allocated",
    "points removed",
    "wet bu",
    "market bu",
    "shrink %",
    "gal",
    "Btu per lb water",
    "over-drying $",
)


def _overview() -> SeasonOverview:
    organization = Organization.objects.get(name=ORGANIZATION)
    with scope.organization(organization.pk):
        return selectors.season_overview(access_of_command(organization, "demo"), SEASON)


def season_table() -> str:
    """A row per site; a figure that nothing is known of is a dash."""
    overview = _overview()
    rows = [HEAD, *(_line(view.site.name if view.site else "", view) for view in overview.sites)]
    rows.append(_line("all sites", overview.total))
    return _aligned(rows)


def _line(name: str, view: SeasonView) -> tuple[str, ...]:
    figures = view.figures
    lost = figures["over_drying_total_usd"]
    return (
        name,
        str(view.batches),
        str(view.complete_batches),
        str(view.fuel_metered_batches),
        str(view.fuel_allocated_batches),
        _number(figures["points_removed"], 2),
        _number(figures["wet_bu"], 0),
        _number(figures["market_bu"], 0),
        _number(figures["shrink_total_pct"], 2),
        _fuel(view),
        _number(figures["energy_j_per_kg_water"], 0, "btu_per_lb"),
        "-" if lost is None else f"{cents(lost):,}",
    )


def _fuel(view: SeasonView) -> str:
    """Gallons; where a site burns gas alone, therms."""
    if view.figures["fuel_volume_m3"] is None and view.figures["fuel_energy_j"] is not None:
        return f"{_number(view.figures['fuel_energy_j'], 0, 'therm')} therm"
    return _number(view.figures["fuel_volume_m3"], 0, "gal")


def _number(value: float | None, digits: int, unit: str = "") -> str:
    if value is None:
        return "-"
    return f"{UNITS[unit].from_si(value) if unit else value:,.{digits}f}"


def _aligned(rows: Sequence[tuple[str, ...]]) -> str:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = [
        "  ".join([row[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True))])
        for row in rows
    ]
    rule = "-" * len(lines[0])
    return "\n".join([lines[0], rule, *lines[1:-1], rule, lines[-1]])


def a_batch() -> str:
    """One that lost money, to look at first."""
    return next((worst for view in _overview().sites for worst in view.worst), "")
