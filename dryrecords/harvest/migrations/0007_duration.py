"""Behind row-level security no index over spans of time is searched; how long the longest batch lasted is enough."""

from django.db import migrations

DURATION = "(coalesce(emptied_at, cooling_ended_at, drying_ended_at, started_at) - started_at)"


class Migration(migrations.Migration):
    dependencies = [("harvest", "0006_wall")]

    operations = [
        migrations.RunSQL(
            f"CREATE INDEX batch_duration ON harvest_batch (dryer_id, {DURATION}) WHERE deleted_at IS NULL",
            "DROP INDEX batch_duration",
        ),
        migrations.RunSQL(
            "DROP INDEX batch_occupancy",
            "CREATE INDEX batch_occupancy ON harvest_batch USING gist (dryer_id, tstzrange("
            "started_at, coalesce(emptied_at, cooling_ended_at, drying_ended_at, started_at), '[]'))"
            " WHERE deleted_at IS NULL",
        ),
    ]
