"""The second wall: the database shows and takes only rows of the organizations that the transaction names."""

from django.db import migrations

TABLES = [
    "tenancy_customer",
    "tenancy_site",
    "tenancy_membership",
    "tenancy_token",
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

# Which organization a request is of, its token says: so a token is found by its digest before any is named. Who does
# not have the token does not have its digest.
HOLDER = """
CREATE POLICY holder ON tenancy_token FOR SELECT
    USING (digest = (SELECT current_setting('dryrecords.digest', true)));
CREATE FUNCTION tenancy_token_of(wanted text) RETURNS SETOF tenancy_token LANGUAGE plpgsql AS $$
BEGIN
    PERFORM set_config('dryrecords.digest', wanted, true);
    RETURN QUERY SELECT * FROM tenancy_token WHERE digest = wanted;
    PERFORM set_config('dryrecords.digest', '', true);
END $$;
"""
NO_HOLDER = "DROP FUNCTION tenancy_token_of(text); DROP POLICY holder ON tenancy_token;"


class Migration(migrations.Migration):
    dependencies = [("tenancy", "0003_history_by_trigger")]

    operations = [
        *(migrations.RunSQL(WALL.format(table=table), NO_WALL.format(table=table)) for table in TABLES),
        migrations.RunSQL(HOLDER, NO_HOLDER),
    ]
