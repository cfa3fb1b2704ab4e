"""History written by the database: one function for every record table, a log that only grows, an epoch for cursors."""

import uuid

from django.db import migrations, models

# Runs as the owner of the log, so that the role that serves needs no right to write it. A cached plan must serve one
# row and five thousand alike, which a nested loop does not. Whoever writes past the service is told by its role.
FUNCTION = """
CREATE FUNCTION journal_record() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET enable_nestloop = off AS $$
DECLARE
    by_actor text := coalesce(nullif(current_setting('dryrecords.actor', true), ''), 'database role ' || session_user);
    by_device text := coalesce(current_setting('dryrecords.device', true), '');
    by_request text := coalesce(current_setting('dryrecords.request_id', true), '');
    left_behind uuid := nullif(current_setting('dryrecords.left_customer', true), '')::uuid;
BEGIN
    IF TG_OP = 'INSERT' THEN {insert}
    ELSIF TG_OP = 'UPDATE' THEN {update}
    ELSE {delete}
    END IF;
    RETURN NULL;
END $$
"""

# The head is locked from here to the commit: numbers come in the order of commits and leave no gap.
ENTRIES = """
        WITH turn AS (
            INSERT INTO journal_head AS head (organization_id, number)
            SELECT organization_id, count(*) FROM {rows} GROUP BY organization_id ORDER BY organization_id
            ON CONFLICT (organization_id) DO UPDATE SET number = head.number + excluded.number
            RETURNING organization_id, number, clock_timestamp() AS moment)
        INSERT INTO journal_change (organization_id, number, resource, record_id, version, operation, changed_at,
            actor, device, request_id, left_customer_id, before, after)
        SELECT organization_id, turn.number + 1 - row_number() OVER (PARTITION BY organization_id ORDER BY id DESC),
            TG_ARGV[0], id, {version}, {operation}, turn.moment,
            by_actor, by_device, by_request, left_behind, {before}, {after}
        FROM {source} JOIN turn USING (organization_id);
"""


def entries(source: str, **parts: str) -> str:
    return ENTRIES.format(source=source, rows=source.split()[0], **parts)


BEFORE, AFTER = "to_jsonb(b) - 'organization_id'", "to_jsonb(a) - 'organization_id'"
RECORD = FUNCTION.format(
    insert=entries("after_rows a", version="a.version", operation="'create'", before="NULL", after=AFTER),
    update=entries(
        "after_rows a JOIN before_rows b USING (organization_id, id)",
        version="a.version",
        operation="CASE WHEN a.deleted_at IS NOT NULL THEN 'delete'"
        " WHEN b.deleted_at IS NOT NULL THEN 'restore' ELSE 'update' END",
        before=f"CASE WHEN b.deleted_at IS NULL THEN {BEFORE} END",
        after=f"CASE WHEN a.deleted_at IS NULL THEN {AFTER} END",
    ),
    delete=entries("before_rows b", version="b.version + 1", operation="'delete'", before=BEFORE, after="NULL"),
)

# A temporary table of the caller's must not be taken for the log.
PLACE = """
DO $$ BEGIN
    EXECUTE format('ALTER FUNCTION journal_record() SET search_path = %I, pg_temp', current_schema());
END $$
"""

KEEP = """
CREATE FUNCTION journal_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'The history is only ever added to.' USING ERRCODE = 'insufficient_privilege';
END $$;
CREATE TRIGGER journal_keep BEFORE UPDATE OR DELETE OR TRUNCATE ON journal_change
    FOR EACH STATEMENT EXECUTE FUNCTION journal_keep();
"""

REVOKE = """
DO $$ DECLARE granted record; BEGIN
    FOR granted IN SELECT DISTINCT grantee, table_name FROM information_schema.role_table_grants
        WHERE table_schema = current_schema() AND table_name IN ('journal_change', 'journal_head')
            AND grantee <> current_user
    LOOP
        EXECUTE format('REVOKE ALL ON %I FROM %I', granted.table_name, granted.grantee);
        EXECUTE format('GRANT SELECT ON %I TO %I', granted.table_name, granted.grantee);
    END LOOP;
END $$
"""

OPERATIONS = [("create", "Create"), ("update", "Update"), ("delete", "Delete"), ("restore", "Restore")]


class Migration(migrations.Migration):
    dependencies = [("journal", "0001_initial")]

    operations = [
        migrations.AlterField("change", "operation", models.CharField(choices=OPERATIONS, max_length=7)),
        migrations.AddField("change", "left_customer_id", models.UUIDField(null=True)),
        migrations.CreateModel(
            "Epoch",
            [
                ("id", models.SmallIntegerField(default=1, primary_key=True, serialize=False)),
                ("name", models.UUIDField(default=uuid.uuid4)),
            ],
        ),
        migrations.AddConstraint("epoch", models.CheckConstraint(condition=models.Q(("id", 1)), name="one_epoch")),
        migrations.RunSQL(RECORD, "DROP FUNCTION journal_record()"),
        migrations.RunSQL(PLACE, migrations.RunSQL.noop),
        migrations.RunSQL(KEEP, "DROP TRIGGER journal_keep ON journal_change; DROP FUNCTION journal_keep()"),
        migrations.RunSQL(REVOKE, migrations.RunSQL.noop),
    ]
