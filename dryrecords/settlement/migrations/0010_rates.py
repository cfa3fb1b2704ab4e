"""What is charged for drying, from a day on; its history, its wall, and references that stay inside."""

import django.db.models.deletion
import django.db.models.expressions
import dryrecords.core.ids
from decimal import Decimal
from django.db import migrations, models

SAME_ORGANIZATION = """
ALTER TABLE settlement_rate ADD CONSTRAINT settlement_rate_customer_id_same_organization
    FOREIGN KEY (organization_id, customer_id) REFERENCES tenancy_customer (organization_id, id);
"""
NOT_SAME = "ALTER TABLE settlement_rate DROP CONSTRAINT settlement_rate_customer_id_same_organization"

HISTORY = """
CREATE TRIGGER journal_insert AFTER INSERT ON settlement_rate REFERENCING NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('rates');
CREATE TRIGGER journal_update AFTER UPDATE ON settlement_rate
    REFERENCING OLD TABLE AS before_rows NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('rates');
CREATE TRIGGER journal_delete AFTER DELETE ON settlement_rate REFERENCING OLD TABLE AS before_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('rates');
"""
NO_HISTORY = """
DROP TRIGGER journal_insert ON settlement_rate;
DROP TRIGGER journal_update ON settlement_rate;
DROP TRIGGER journal_delete ON settlement_rate;
"""

WALL = """
ALTER TABLE settlement_rate ENABLE ROW LEVEL SECURITY;
ALTER TABLE settlement_rate FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON settlement_rate USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON settlement_rate;
ALTER TABLE settlement_rate NO FORCE ROW LEVEL SECURITY;
ALTER TABLE settlement_rate DISABLE ROW LEVEL SECURITY;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("journal", "0004_wall"),
        ("settlement", "0001_schedules"),
        ("tenancy", "0005_doors"),
    ]

    operations = [
        migrations.CreateModel(
            name="Rate",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=dryrecords.core.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("version", models.IntegerField(default=1, editable=False)),
                ("created_at", models.DateTimeField(editable=False)),
                ("updated_at", models.DateTimeField(editable=False)),
                ("deleted_at", models.DateTimeField(editable=False, null=True)),
                ("effective_from", models.DateTimeField()),
                (
                    "crop",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("corn", "Corn"),
                            ("soybean", "Soybean"),
                            ("wheat", "Wheat"),
                            ("sorghum", "Sorghum"),
                            ("barley", "Barley"),
                            ("oats", "Oats"),
                            ("rye", "Rye"),
                            ("flax", "Flax"),
                            ("canola", "Canola"),
                            ("rough_rice", "Rough Rice"),
                            ("sunflower", "Sunflower"),
                        ],
                        default="",
                        max_length=10,
                    ),
                ),
                ("drying_per_point_usd_bu", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("bands", models.JSONField(default=list)),
                ("drying_on", models.CharField(choices=[("wet_bu", "Wet"), ("dry_bu", "Dry")], max_length=6)),
                (
                    "points_counted",
                    models.CharField(
                        choices=[("removed", "Removed"), ("to_base", "To Base")], default="removed", max_length=7
                    ),
                ),
                ("base_moisture_pct", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("moisture_rounding_pct", models.DecimalField(decimal_places=6, default=Decimal("0.1"), max_digits=12)),
                ("bushel_rounding_bu", models.DecimalField(decimal_places=6, default=Decimal("0.01"), max_digits=12)),
                ("minimum_usd", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                (
                    "minimum_per",
                    models.CharField(
                        blank=True, choices=[("batch", "Batch"), ("bu", "Bushel")], default="", max_length=5
                    ),
                ),
                (
                    "surcharge_fuel",
                    models.CharField(
                        blank=True,
                        choices=[("propane", "Propane"), ("natural_gas", "Natural Gas"), ("diesel", "Diesel")],
                        default="",
                        max_length=11,
                    ),
                ),
                ("surcharge_above_usd", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("surcharge_step_usd", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("surcharge_per_step_usd_bu", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("in_usd_bu", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("out_usd_bu", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                (
                    "shrink",
                    models.CharField(
                        blank=True, choices=[("actual", "Actual"), ("factor", "Factor")], default="", max_length=6
                    ),
                ),
                ("shrink_factor_pct_per_point", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ("shrink_handling_pct", models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                (
                    "customer",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rates",
                        to="tenancy.customer",
                    ),
                ),
                (
                    "organization",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tenancy.organization",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["organization", "-effective_from", "id"], name="rate_listed")],
                "constraints": [
                    models.UniqueConstraint(fields=("organization", "id"), name="rate_of_organization"),
                    models.UniqueConstraint(
                        condition=models.Q(("deleted_at__isnull", True)),
                        fields=("organization", "customer", "crop", "effective_from"),
                        name="rate_once",
                        nulls_distinct=False,
                        violation_error_code="already_there",
                        violation_error_message="effective_from|already has a row of the same kind: correct that one.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("drying_per_point_usd_bu__gte", 0), ("drying_per_point_usd_bu__lte", 1000)),
                            ("drying_per_point_usd_bu__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_drying_per_point_usd_bu",
                        violation_error_code="out_of_range",
                        violation_error_message="drying_per_point_usd_bu|must be between 0 and 1,000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("surcharge_above_usd__gte", 0), ("surcharge_above_usd__lte", 1000)),
                            ("surcharge_above_usd__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_surcharge_above_usd",
                        violation_error_code="out_of_range",
                        violation_error_message="surcharge_above_usd|must be between 0 and 1,000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("surcharge_per_step_usd_bu__gte", 0), ("surcharge_per_step_usd_bu__lte", 1000)),
                            ("surcharge_per_step_usd_bu__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_surcharge_per_step_usd_bu",
                        violation_error_code="out_of_range",
                        violation_error_message="surcharge_per_step_usd_bu|must be between 0 and 1,000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("in_usd_bu__gte", 0), ("in_usd_bu__lte", 1000)),
                            ("in_usd_bu__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_in_usd_bu",
                        violation_error_code="out_of_range",
                        violation_error_message="in_usd_bu|must be between 0 and 1,000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("out_usd_bu__gte", 0), ("out_usd_bu__lte", 1000)),
                            ("out_usd_bu__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_out_usd_bu",
                        violation_error_code="out_of_range",
                        violation_error_message="out_usd_bu|must be between 0 and 1,000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("minimum_usd__gte", 0), ("minimum_usd__lte", 100000)),
                            ("minimum_usd__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_minimum_usd",
                        violation_error_code="out_of_range",
                        violation_error_message="minimum_usd|must be between 0 and 100,000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("surcharge_step_usd__gt", 0), ("surcharge_step_usd__isnull", True), _connector="OR"
                        ),
                        name="rate_surcharge_step_usd",
                        violation_error_code="out_of_range",
                        violation_error_message="surcharge_step_usd|must be above zero.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("base_moisture_pct__gte", 0), ("base_moisture_pct__lte", 60)),
                            ("base_moisture_pct__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_base_moisture",
                        violation_error_code="out_of_range",
                        violation_error_message="base_moisture_pct|must be between 0 and 60 percent wet basis.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("moisture_rounding_pct__gt", 0), ("moisture_rounding_pct__lte", 1)),
                        name="rate_moisture_rounding",
                        violation_error_code="out_of_range",
                        violation_error_message="moisture_rounding_pct|must be above 0 and at most 1.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("bushel_rounding_bu__gt", 0), ("bushel_rounding_bu__lte", 1)),
                        name="rate_bushel_rounding",
                        violation_error_code="out_of_range",
                        violation_error_message="bushel_rounding_bu|must be above 0 and at most 1.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("shrink_factor_pct_per_point__gte", 0), ("shrink_factor_pct_per_point__lte", 10)),
                            ("shrink_factor_pct_per_point__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_shrink_factor",
                        violation_error_code="out_of_range",
                        violation_error_message="shrink_factor_pct_per_point|must be between 0 and 10 percent.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("shrink_handling_pct__gte", 0), ("shrink_handling_pct__lte", 10)),
                            ("shrink_handling_pct__isnull", True),
                            _connector="OR",
                        ),
                        name="rate_shrink_handling",
                        violation_error_code="out_of_range",
                        violation_error_message="shrink_handling_pct|must be between 0 and 10 percent.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            django.db.models.expressions.RawSQL(
                                "num_nonnulls(drying_per_point_usd_bu, nullif(bands, '[]')) = 1",
                                (),
                                output_field=models.BooleanField(),
                            )
                        ),
                        name="rate_one_charge",
                        violation_error_code="one_charge",
                        violation_error_message="drying_per_point_usd_bu|or bands: exactly one of them is needed.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("minimum_per", ""), ("minimum_usd__isnull", True)),
                            models.Q(("minimum_usd__isnull", False), models.Q(("minimum_per", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="rate_minimum_is_per_something",
                        violation_error_code="minimum_incomplete",
                        violation_error_message="minimum_per|goes with minimum_usd: a minimum is per batch or per bushel.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("surcharge_above_usd__isnull", True),
                                ("surcharge_fuel", ""),
                                ("surcharge_per_step_usd_bu__isnull", True),
                                ("surcharge_step_usd__isnull", True),
                            ),
                            models.Q(
                                models.Q(("surcharge_fuel", ""), _negated=True),
                                ("surcharge_above_usd__isnull", False),
                                ("surcharge_per_step_usd_bu__isnull", False),
                                ("surcharge_step_usd__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="rate_surcharge_is_whole",
                        violation_error_code="surcharge_incomplete",
                        violation_error_message="surcharge_fuel|and the other three fields of the surcharge go together.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("shrink", "factor"), ("shrink_factor_pct_per_point__isnull", False)),
                            models.Q(
                                models.Q(("shrink", "factor"), _negated=True),
                                ("shrink_factor_pct_per_point__isnull", True),
                                ("shrink_handling_pct__isnull", True),
                            ),
                            _connector="OR",
                        ),
                        name="rate_factor_shrink_has_a_factor",
                        violation_error_code="shrink_incomplete",
                        violation_error_message="shrink|factor goes with shrink_factor_pct_per_point, and with no other.",
                    ),
                ],
            },
        ),
        migrations.RunSQL(SAME_ORGANIZATION, NOT_SAME),
        migrations.RunSQL(HISTORY, NO_HISTORY),
        migrations.RunSQL(WALL, NO_WALL),
    ]
