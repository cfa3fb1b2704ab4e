"""Every change of a record is written down by the database itself, whoever makes it."""

from django.db import migrations

TABLES = [
    ("harvest_lot", "lots"),
    ("harvest_batch", "batches"),
    ("harvest_reading", "readings"),
    ("harvest_sample", "samples"),
    ("harvest_fuelreading", "fuel-readings"),
    ("harvest_fueldelivery", "fuel-deliveries"),
    ("harvest_powerreading", "power-readings"),
    ("harvest_price", "prices"),
    ("harvest_setting", "settings"),
]

TRIGGERS = """
CREATE TRIGGER journal_insert AFTER INSERT ON {table} REFERENCING NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('{resource}');
CREATE TRIGGER journal_update AFTER UPDATE ON {table} REFERENCING OLD TABLE AS before_rows NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('{resource}');
CREATE TRIGGER journal_delete AFTER DELETE ON {table} REFERENCING OLD TABLE AS before_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('{resource}');
"""
NONE = """
DROP TRIGGER journal_insert ON {table};
DROP TRIGGER journal_update ON {table};
DROP TRIGGER journal_delete ON {table};
"""


class Migration(migrations.Migration):
    dependencies = [("harvest", "0004_plausible"), ("journal", "0002_history_by_trigger")]

    operations = [
        migrations.RunSQL(TRIGGERS.format(table=table, resource=resource), NONE.format(table=table))
        for table, resource in TABLES
    ]
