"""Statements: numbered in turn, never changed, and a correction is of the same customer and season."""

import django.db.models.deletion
import dryrecords.core.ids
from django.db import migrations, models

SAME_ORGANIZATION = """
ALTER TABLE settlement_statement ADD CONSTRAINT settlement_statement_customer_id_same_organization
    FOREIGN KEY (organization_id, customer_id) REFERENCES tenancy_customer (organization_id, id);
ALTER TABLE settlement_statement ADD CONSTRAINT settlement_statement_corrects_id_same_organization
    FOREIGN KEY (organization_id, customer_id, season, corrects_id)
    REFERENCES settlement_statement (organization_id, customer_id, season, id);
"""
NOT_SAME = """
ALTER TABLE settlement_statement DROP CONSTRAINT settlement_statement_corrects_id_same_organization;
ALTER TABLE settlement_statement DROP CONSTRAINT settlement_statement_customer_id_same_organization;
"""

WALL = """
ALTER TABLE settlement_statement ENABLE ROW LEVEL SECURITY;
ALTER TABLE settlement_statement FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON settlement_statement USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON settlement_statement;
ALTER TABLE settlement_statement NO FORCE ROW LEVEL SECURITY;
ALTER TABLE settlement_statement DISABLE ROW LEVEL SECURITY;
"""

# Whoever asks, its owner too.
KEEP = """
CREATE FUNCTION settlement_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'A statement that was issued is never changed: issue one that corrects it.'
        USING ERRCODE = 'insufficient_privilege';
END $$;
CREATE TRIGGER settlement_keep BEFORE UPDATE OR DELETE OR TRUNCATE ON settlement_statement
    FOR EACH STATEMENT EXECUTE FUNCTION settlement_keep();
"""
NO_KEEP = "DROP TRIGGER settlement_keep ON settlement_statement; DROP FUNCTION settlement_keep()"

# Two at once, neither of which sees the other, are told apart by the unique number.
IN_TURN = """
CREATE FUNCTION settlement_in_turn() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.number <> 1 + coalesce((SELECT max(number) FROM settlement_statement
        WHERE organization_id = NEW.organization_id AND season = NEW.season), 0)
    THEN
        RAISE EXCEPTION 'Statements are numbered in turn.' USING ERRCODE = 'check_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER settlement_in_turn BEFORE INSERT ON settlement_statement
    FOR EACH ROW EXECUTE FUNCTION settlement_in_turn();
"""
NOT_IN_TURN = "DROP TRIGGER settlement_in_turn ON settlement_statement; DROP FUNCTION settlement_in_turn()"


class Migration(migrations.Migration):
    dependencies = [("settlement", "0010_rates")]

    operations = [
        migrations.CreateModel(
            name="Statement",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=dryrecords.core.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("season", models.IntegerField()),
                ("number", models.IntegerField()),
                ("issued_at", models.DateTimeField()),
                ("actor", models.CharField(max_length=200)),
                ("device", models.CharField(blank=True, default="", max_length=200)),
                ("request_id", models.CharField(blank=True, default="", max_length=64)),
                ("total_usd", models.DecimalField(decimal_places=2, max_digits=14)),
                ("document", models.JSONField()),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="settlement.statement",
                    ),
                ),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="statements", to="tenancy.customer"
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
                "indexes": [models.Index(fields=["organization", "-issued_at", "id"], name="statement_listed")],
                "constraints": [
                    models.UniqueConstraint(fields=("organization", "season", "number"), name="statement_number_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("corrects__isnull", True)),
                        fields=("organization", "customer", "season"),
                        name="statement_first_once",
                    ),
                    models.UniqueConstraint(
                        fields=("organization", "customer", "season", "id"), name="statement_of_customer_and_season"
                    ),
                    models.CheckConstraint(condition=models.Q(("number__gte", 1)), name="statement_number_from_one"),
                ],
            },
        ),
        migrations.RunSQL(SAME_ORGANIZATION, NOT_SAME),
        migrations.RunSQL(WALL, NO_WALL),
        migrations.RunSQL(KEEP, NO_KEEP),
        migrations.RunSQL(IN_TURN, NOT_IN_TURN),
    ]
