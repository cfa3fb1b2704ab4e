"""Sheets that were brought to be taken in."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models

import dryrecords.core.ids


class Migration(migrations.Migration):
    dependencies = [
        ("harvest", "0007_duration"),
        ("tenancy", "0002_same_organization"),
    ]

    operations = [
        migrations.CreateModel(
            name="Import",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=dryrecords.core.ids.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("kind", models.CharField(max_length=40)),
                ("file_name", models.CharField(blank=True, default="", max_length=200)),
                ("content", models.TextField()),
                ("options", models.JSONField(default=dict)),
                ("actor", models.CharField(max_length=200)),
                ("device", models.CharField(blank=True, default="", max_length=200)),
                ("request_id", models.CharField(blank=True, default="", max_length=64)),
                ("role", models.CharField(max_length=10)),
                ("token_id", models.UUIDField(null=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Waiting"),
                            ("running", "Running"),
                            ("done", "Done"),
                            ("failed", "Failed"),
                        ],
                        default="waiting",
                        max_length=7,
                    ),
                ),
                ("rows", models.IntegerField(default=0)),
                ("rows_done", models.IntegerField(default=0)),
                ("created", models.IntegerField(default=0)),
                ("duplicates", models.IntegerField(default=0)),
                ("refused", models.JSONField(default=list)),
                ("error", models.TextField(blank=True, default="")),
                ("created_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("finished_at", models.DateTimeField(null=True)),
                ("run_after", models.DateTimeField(default=django.utils.timezone.now)),
                ("attempts", models.IntegerField(default=0)),
                (
                    "organization",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tenancy.organization",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["organization", "-created_at", "id"], name="import_listed"),
                    models.Index(
                        condition=models.Q(("state__in", ["waiting", "running"])),
                        fields=["run_after"],
                        name="import_open",
                    ),
                ],
            },
        ),
    ]
