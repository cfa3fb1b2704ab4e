"""In which organizations somebody signed in may be, found before one of them is named."""

from django.db import migrations

# As with tokens: of which organization a request is, the memberships of the person say. The session knows who it is.
PERSON = """
CREATE POLICY person ON tenancy_membership FOR SELECT
    USING (user_id::text = (SELECT current_setting('dryrecords.person', true)));
CREATE FUNCTION tenancy_memberships_of(wanted bigint) RETURNS SETOF tenancy_membership LANGUAGE plpgsql AS $$
BEGIN
    PERFORM set_config('dryrecords.person', wanted::text, true);
    RETURN QUERY SELECT * FROM tenancy_membership WHERE user_id = wanted;
    PERFORM set_config('dryrecords.person', '', true);
END $$;
"""
NO_PERSON = "DROP FUNCTION tenancy_memberships_of(bigint); DROP POLICY person ON tenancy_membership;"


class Migration(migrations.Migration):
    dependencies = [("tenancy", "0005_doors")]

    operations = [migrations.RunSQL(PERSON, NO_PERSON)]
