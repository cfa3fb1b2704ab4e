"""The invented season, brought as spreadsheets by the command, is the season that the demo loads."""

from __future__ import annotations

import io

from django.core.management import call_command

from api.csv_rows import bodies
from api.root import RESOURCES
from dryrecords.config import demo
from tests import factories


def test_every_file_lands_whole_and_once(db: None) -> None:
    owner = factories.organization("Season in Spreadsheets")
    for again in (False, True):
        for resource in RESOURCES:
            file = demo.FILES / f"{resource.name}.csv"
            with file.open(newline="") as lines:
                count = sum(1 for _ in bodies(resource.serializer, lines))
            out = io.StringIO()
            call_command("import_csv", resource.name, str(file), "--organization", owner.name, "--new-ids", stdout=out)
            new, there = (0, count) if again else (count, 0)
            assert f"{count} rows: {new} new, {there} there already, 0 refused." in out.getvalue(), resource.name
            assert resource.model.objects.filter(organization=owner).count() == count
