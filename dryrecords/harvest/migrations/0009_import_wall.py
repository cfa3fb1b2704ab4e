"""The second wall around what was brought to be taken in."""

from django.db import migrations

WALL = """
ALTER TABLE harvest_import ENABLE ROW LEVEL SECURITY;
ALTER TABLE harvest_import FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON harvest_import USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON harvest_import;
ALTER TABLE harvest_import NO FORCE ROW LEVEL SECURITY;
ALTER TABLE harvest_import DISABLE ROW LEVEL SECURITY;
"""


class Migration(migrations.Migration):
    dependencies = [("harvest", "0008_imports")]

    operations = [migrations.RunSQL(WALL, NO_WALL)]
