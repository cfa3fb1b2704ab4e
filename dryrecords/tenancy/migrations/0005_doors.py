"""Tokens that end when they are replaced, and attempts to sign in, which are counted."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tenancy", "0004_wall")]

    operations = [
        migrations.AddField("token", "valid_until", models.DateTimeField(blank=True, null=True)),
        migrations.CreateModel(
            "SignIn",
            [
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=64)),
                ("address", models.CharField(max_length=64)),
                ("at", models.DateTimeField()),
            ],
            options={
                "indexes": [
                    models.Index(fields=["name", "at"], name="sign_in_by_name"),
                    models.Index(fields=["address", "at"], name="sign_in_by_address"),
                ],
            },
        ),
    ]
