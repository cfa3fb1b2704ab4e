"""The second wall: the database shows and takes only rows of the organizations that the transaction names."""

from django.db import migrations

TABLES = [
    "journal_head",
    "journal_change",
    "journal_stalemark",
    "journal_givenanswer",
    "journal_push",
    "journal_mutation",
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

# Whoever looks for work looks in all organizations, and sees of each only which figures are stale.
SWEEP = """
CREATE POLICY sweep_look ON journal_stalemark FOR SELECT
    USING ((SELECT current_setting('dryrecords.sweep', true)) = 'on');
CREATE POLICY sweep_claim ON journal_stalemark FOR UPDATE
    USING ((SELECT current_setting('dryrecords.sweep', true)) = 'on');
"""
NO_SWEEP = "DROP POLICY sweep_claim ON journal_stalemark; DROP POLICY sweep_look ON journal_stalemark;"


class Migration(migrations.Migration):
    dependencies = [("journal", "0003_submissions")]

    operations = [
        *(migrations.RunSQL(WALL.format(table=table), NO_WALL.format(table=table)) for table in TABLES),
        migrations.RunSQL(SWEEP, NO_SWEEP),
    ]
