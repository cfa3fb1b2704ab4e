"""Tables that can be emptied and rebuilt: the result of a batch, the season of a site."""

from __future__ import annotations

from django.db import models

from dryrecords.grain.figures import FIGURES


class BatchResult(models.Model):
    """Every figure of one batch. A column per figure of the numeric core, and `<figure>_u` with its uncertainty."""

    class Basis(models.TextChoices):
        METERED = "metered"
        ALLOCATED = "allocated"
        ESTIMATED = "estimated"

    # Plain ids: a result never keeps a record from being changed, and is found by organization alone.
    batch_id = models.UUIDField(primary_key=True)
    organization_id = models.UUIDField()
    site_id = models.UUIDField()
    dryer_id = models.UUIDField()
    season = models.IntegerField()
    crop = models.CharField(max_length=10)
    # The stale mark's generation that this result satisfies: an older one never overwrites a newer one.
    generation = models.BigIntegerField()
    computed_at = models.DateTimeField()
    method_version = models.CharField(max_length=20)
    complete = models.BooleanField()
    missing = models.JSONField(default=list)
    # [{field, value, basis}]: what was taken from a stated default.
    assumed = models.JSONField(default=list)
    # Each with code, detail and the batches it concerns.
    warnings = models.JSONField(default=list)
    base_moisture_pct = models.FloatField()
    # Empty where there is no figure to rest on anything.
    fuel_basis = models.CharField(max_length=9, choices=Basis, blank=True)
    electricity_basis = models.CharField(max_length=9, choices=Basis, blank=True)
    # What accounts of tanks and meters need of it: when another comes out, they are made anew. See season.accounts.
    accounted = models.JSONField(default=list)

    class Meta:
        indexes = [
            models.Index(fields=["organization_id", "site_id", "season"], name="batch_result_of_season"),
        ]

    def __str__(self) -> str:
        return f"result of {self.batch_id}"


# One list, written where the figures are computed, names the columns, the sums and the wire.
for _name in FIGURES:
    for _column in (_name, f"{_name}_u"):
        BatchResult.add_to_class(_column, models.FloatField(null=True))


class SiteSeason(models.Model):
    """Sums and means of a site's batches in one harvest year."""

    organization_id = models.UUIDField()
    site_id = models.UUIDField()
    season = models.IntegerField()
    generation = models.BigIntegerField()
    computed_at = models.DateTimeField()
    batches = models.IntegerField()
    complete_batches = models.IntegerField()
    # Parts that add up across sites, figures by dryer and by crop, best and worst batches: see season.aggregate.
    figures = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization_id", "site_id", "season"], name="site_season_once"),
        ]

    def __str__(self) -> str:
        return f"{self.season} of site {self.site_id}"


class EnergyAccount(models.Model):
    """What a tank or an electricity meter gave in one harvest year, reading by reading, and to which batches."""

    class Kind(models.TextChoices):
        TANK = "tank"
        # The meter of one dryer, and that of a whole site.
        DRYER = "dryer"
        SITE = "site"

    organization_id = models.UUIDField()
    kind = models.CharField(max_length=5, choices=Kind)
    # Of the tank, the dryer or the site.
    of_id = models.UUIDField()
    season = models.IntegerField()
    generation = models.BigIntegerField()
    computed_at = models.DateTimeField()
    # Intervals, shares of batches, findings: see season.accounts.
    figures = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization_id", "kind", "of_id", "season"], name="energy_account_once"),
        ]

    def __str__(self) -> str:
        return f"{self.season} of {self.kind} {self.of_id}"


class EnergyShare(models.Model):
    """What an account gave to one batch, where no reading around that batch alone tells."""

    organization_id = models.UUIDField()
    kind = models.CharField(max_length=5, choices=EnergyAccount.Kind)
    of_id = models.UUIDField()
    season = models.IntegerField()
    batch_id = models.UUIDField()
    # Liquid fuel in cubic metres at 60 F, gas in joules, electricity in kilowatt-hours.
    amount = models.FloatField()
    amount_u = models.FloatField()
    # `estimated` where the interval's drawdown cannot be right, and so told nothing.
    basis = models.CharField(max_length=9, choices=BatchResult.Basis)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["batch_id", "kind"], name="energy_share_once"),
        ]
        indexes = [models.Index(fields=["organization_id", "of_id", "season"], name="energy_share_of_account")]

    def __str__(self) -> str:
        return f"{self.kind} share of {self.batch_id}"


class DryerCalibration(models.Model):
    """What a dryer's own batches of one crop have taught."""

    organization_id = models.UUIDField()
    dryer_id = models.UUIDField()
    crop = models.CharField(max_length=10)
    generation = models.BigIntegerField()
    computed_at = models.DateTimeField()
    model_version = models.CharField(max_length=40)
    batches = models.IntegerField()
    # Factors with their covariance, the cut-off relation, batches left out: see season.calibration.
    figures = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization_id", "dryer_id", "crop"], name="dryer_calibration_once"),
        ]

    def __str__(self) -> str:
        return f"{self.crop} in dryer {self.dryer_id}"


class ForecastGrid(models.Model):
    """Many forecasts of one dryer, computed in the background."""

    id = models.UUIDField(primary_key=True)
    organization_id = models.UUIDField()
    dryer_id = models.UUIDField()
    asked_at = models.DateTimeField()
    # Each as asked, in SI; answers in the same order, as many as are done.
    wanted = models.JSONField()
    answers = models.JSONField(default=list)
    error = models.TextField(blank=True, default="")

    class Meta:
        indexes = [models.Index(fields=["organization_id", "-asked_at"], name="forecast_grid_listed")]

    def __str__(self) -> str:
        return f"{len(self.answers)} of {len(self.wanted)} forecasts"
