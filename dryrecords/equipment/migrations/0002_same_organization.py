"""A reference never leaves its organization: the database holds it, whatever the code does."""

from django.db import migrations

REFERENCES = [
    ("equipment_tank", "site_id", "tenancy_site"),
    ("equipment_dryer", "site_id", "tenancy_site"),
    ("equipment_dryer", "tank_id", "equipment_tank"),
    ("equipment_bin", "site_id", "tenancy_site"),
]


def statement(table: str, column: str, parent: str) -> migrations.RunSQL:
    name = f"{table}_{column}_same_organization"
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY (organization_id, {column})"
        f" REFERENCES {parent} (organization_id, id)",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


class Migration(migrations.Migration):
    dependencies = [("equipment", "0001_initial")]

    operations = [statement(*reference) for reference in REFERENCES]
