"""A reference never leaves its organization: the database holds it, whatever the code does."""

from django.db import migrations

REFERENCES = [
    ("harvest_lot", "customer_id", "tenancy_customer"),
    ("harvest_batch", "dryer_id", "equipment_dryer"),
    ("harvest_batch", "lot_id", "harvest_lot"),
    ("harvest_batch", "bin_id", "equipment_bin"),
    ("harvest_reading", "batch_id", "harvest_batch"),
    ("harvest_sample", "batch_id", "harvest_batch"),
    ("harvest_sample", "bin_id", "equipment_bin"),
    ("harvest_sample", "meter_id", "equipment_meter"),
    ("harvest_fuelreading", "tank_id", "equipment_tank"),
    ("harvest_fueldelivery", "tank_id", "equipment_tank"),
    ("harvest_powerreading", "dryer_id", "equipment_dryer"),
    ("harvest_powerreading", "site_id", "tenancy_site"),
    ("harvest_price", "site_id", "tenancy_site"),
    ("harvest_setting", "customer_id", "tenancy_customer"),
]


def statement(table: str, column: str, parent: str) -> migrations.RunSQL:
    name = f"{table}_{column}_same_organization"
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY (organization_id, {column})"
        f" REFERENCES {parent} (organization_id, id)",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


class Migration(migrations.Migration):
    dependencies = [("harvest", "0001_initial")]

    operations = [statement(*reference) for reference in REFERENCES]
