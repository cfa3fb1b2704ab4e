"""A reference never leaves its organization: the database holds it, whatever the code does."""

from django.db import migrations

REFERENCES = [
    ("tenancy_site", "customer_id", "tenancy_customer"),
    ("tenancy_token", "customer_id", "tenancy_customer"),
    ("tenancy_membership", "customer_id", "tenancy_customer"),
]


def statement(table: str, column: str, parent: str) -> migrations.RunSQL:
    name = f"{table}_{column}_same_organization"
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY (organization_id, {column})"
        f" REFERENCES {parent} (organization_id, id)",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


class Migration(migrations.Migration):
    dependencies = [("tenancy", "0001_initial")]

    operations = [statement(*reference) for reference in REFERENCES]
