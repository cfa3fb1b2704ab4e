"""Find what ran on a dryer at a time without reading its whole season: an index over spans of time."""

from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("harvest", "0002_same_organization")]

    operations = [
        BtreeGistExtension(),
        migrations.RunSQL(
            "CREATE INDEX batch_occupancy ON harvest_batch USING gist (dryer_id, tstzrange("
            "started_at, coalesce(emptied_at, cooling_ended_at, drying_ended_at, started_at), '[]'))"
            " WHERE deleted_at IS NULL",
            "DROP INDEX batch_occupancy",
        ),
        migrations.RunSQL(
            [
                "CREATE INDEX power_reading_of_dryer ON harvest_powerreading (dryer_id, at) WHERE dryer_id IS NOT NULL",
                "CREATE INDEX power_reading_of_site ON harvest_powerreading (site_id, at) WHERE site_id IS NOT NULL",
            ],
            ["DROP INDEX power_reading_of_dryer", "DROP INDEX power_reading_of_site"],
        ),
    ]
