"""The second wall: the database shows and takes only rows of the organizations that the transaction names."""

from django.db import migrations

TABLES = [
    "harvest_lot",
    "harvest_batch",
    "harvest_reading",
    "harvest_sample",
    "harvest_fuelreading",
    "harvest_fueldelivery",
    "harvest_powerreading",
    "harvest_price",
    "harvest_setting",
]

# The sub-select is worked out once for a statement, so that an index on the organization serves it. Forced: the owner
# of the tables is held to it as well.
WALL = """
ALTER TABLE {table} ENABLE ROW LEVEL SECURITY;
ALTER TABLE {table} FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON {table} USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON {table};
ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY;
ALTER TABLE {table} DISABLE ROW LEVEL SECURITY;
"""


class Migration(migrations.Migration):
    dependencies = [("harvest", "0005_history_by_trigger")]

    operations = [migrations.RunSQL(WALL.format(table=table), NO_WALL.format(table=table)) for table in TABLES]
