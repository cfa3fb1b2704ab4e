"""Tickets, and samples of them, inside their organization; every change written down; and the second wall."""

from django.db import migrations

REFERENCES = [
    ("harvest_ticket", "customer_id", "tenancy_customer"),
    ("harvest_ticket", "lot_id", "harvest_lot"),
    ("harvest_sample", "ticket_id", "harvest_ticket"),
]
TRIGGERS = """
CREATE TRIGGER journal_insert AFTER INSERT ON harvest_ticket REFERENCING NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('tickets');
CREATE TRIGGER journal_update AFTER UPDATE ON harvest_ticket
    REFERENCING OLD TABLE AS before_rows NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('tickets');
CREATE TRIGGER journal_delete AFTER DELETE ON harvest_ticket REFERENCING OLD TABLE AS before_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('tickets');
"""
NO_TRIGGERS = """
DROP TRIGGER journal_insert ON harvest_ticket;
DROP TRIGGER journal_update ON harvest_ticket;
DROP TRIGGER journal_delete ON harvest_ticket;
"""
WALL = """
ALTER TABLE harvest_ticket ENABLE ROW LEVEL SECURITY;
ALTER TABLE harvest_ticket FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON harvest_ticket USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON harvest_ticket;
ALTER TABLE harvest_ticket NO FORCE ROW LEVEL SECURITY;
ALTER TABLE harvest_ticket DISABLE ROW LEVEL SECURITY;
"""


def statement(table: str, column: str, parent: str) -> migrations.RunSQL:
    name = f"{table}_{column}_same_organization"
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY (organization_id, {column})"
        f" REFERENCES {parent} (organization_id, id)",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


class Migration(migrations.Migration):
    dependencies = [("harvest", "0010_tickets"), ("journal", "0002_history_by_trigger")]

    operations = [
        *[statement(*reference) for reference in REFERENCES],
        migrations.RunSQL(TRIGGERS, NO_TRIGGERS),
        migrations.RunSQL(WALL, NO_WALL),
    ]
