"""Table: statements as they were issued. The database takes new ones and refuses every change of an old one."""

from __future__ import annotations

from django.db import models

from dryrecords.core.ids import new_id
from dryrecords.tenancy.models import Customer


class Statement(models.Model):
    """What a customer was told of a season: loads in, bushels back, charges. Numbered without a gap in each season."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organization = models.ForeignKey("tenancy.Organization", on_delete=models.PROTECT, db_index=False, related_name="+")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="statements")
    season = models.IntegerField()
    number = models.IntegerField()
    # The one that this one takes the place of: same customer, same season.
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")
    issued_at = models.DateTimeField()
    # Whoever issued it, as it will be read years later: names, not references.
    actor = models.CharField(max_length=200)
    device = models.CharField(max_length=200, blank=True, default="")
    request_id = models.CharField(max_length=64, blank=True, default="")
    total_usd = models.DecimalField(max_digits=14, decimal_places=2)
    # Everything that is printed, amounts as decimal text.
    document = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization", "season", "number"], name="statement_number_once"),
            # Of a customer and season one statement stands: the others were corrected, each once.
            models.UniqueConstraint(
                fields=["organization", "customer", "season"],
                condition=models.Q(corrects__isnull=True),
                name="statement_first_once",
            ),
            # What a correction refers to.
            models.UniqueConstraint(
                fields=["organization", "customer", "season", "id"], name="statement_of_customer_and_season"
            ),
            models.CheckConstraint(condition=models.Q(number__gte=1), name="statement_number_from_one"),
        ]
        indexes = [models.Index(fields=["organization", "-issued_at", "id"], name="statement_listed")]

    def __str__(self) -> str:
        return f"{self.season}-{self.number:04}"
