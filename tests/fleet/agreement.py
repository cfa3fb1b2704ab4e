"""Everything that must agree in the end: model, lists, views of devices, history, ledger, and a rebuild."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import F

from api.root import RESOURCES
from dryrecords.journal import feed
from dryrecords.journal.models import Change, StaleMark
from dryrecords.journal.models import Mutation as Entry
from dryrecords.season import services
from dryrecords.season.models import BatchResult, DryerCalibration
from tests import factories as make
from tests.faults.season import derived_rows
from tests.fleet.device import Device
from tests.fleet.mutations import CREATE, TWIN, USED, WRONG, Mutation
from tests.fleet.network import Line
from tests.fleet.season import Fleet
from tests.fleet.yard import ORGANIZATION
from tests.runtime.processes import wait_for

WRITTEN = ("lots", "batches", "samples", "readings", "fuel-readings", "prices")
Rows = dict[tuple[str, str], dict[str, Any]]


def assert_all_agree(fleet: Fleet) -> None:
    assert fleet.network.complaints == [], fleet.tree.told()[-4000:]
    rows = listed(fleet.office)
    assert_as_the_model_says(fleet, rows)
    assert_views_are_the_lists(fleet, rows)
    assert_every_mutation_came_to_something(fleet)
    assert_history_explains_everything(fleet, rows)
    assert_clocks_were_seen_through(fleet)
    assert_nothing_happens_again(fleet, rows)
    assert wait_for(lambda: services.everything_fresh(organization_id()), 60)


def organization_id() -> Any:
    return make.organization(ORGANIZATION).pk


def listed(line: Line) -> Rows:
    """Every row that the list routes show; no id twice."""
    rows: Rows = {}
    for resource in RESOURCES:
        cursor: str | None = ""
        while cursor is not None:
            answer = line.get(f"{resource.name}?limit=1000{cursor}")
            for row in answer["results"]:
                key = resource.name, row["id"]
                assert key not in rows, key
                rows[key] = row
            cursor = answer["next_cursor"] and f"&cursor={answer['next_cursor']}"
    return rows


def assert_as_the_model_says(fleet: Fleet, rows: Rows) -> None:
    beforehand = {*fleet.yard.lots, fleet.yard.anchor}
    for resource in WRITTEN:
        expected = dict(fleet.model.alive(resource))
        there = {key[1]: row for key, row in rows.items() if key[0] == resource and key[1] not in beforehand}
        if resource == "prices":
            there = {record_id: row for record_id, row in there.items() if record_id in fleet.model.records}
        differ = sorted(there.keys() ^ expected.keys())
        assert differ == [], "\n".join(told_of(fleet, record_id) for record_id in differ[:3])
        for record_id, row in there.items():
            assert_row(row, expected[record_id].fields, expected[record_id].words)


def assert_row(row: dict[str, Any], fields: dict[str, Any], words: set[str]) -> None:
    for name, value in fields.items():
        if isinstance(value, float):
            assert row[name] == pytest.approx(value, rel=1e-9), (name, row, fields)
        elif name.endswith("at") or name == "effective_from":
            assert datetime.fromisoformat(row[name]) == datetime.fromisoformat(value), (name, row, fields)
        elif name == "unit_price_usd":
            assert float(row[name]) == float(value), (name, row, fields)
        else:
            assert row[name] == value, (name, row, fields)
    if "note" in row:
        assert sorted((row["note"] or "").split()) == sorted(words), (row, words)
    given = {*fields, "id", "version", "created_at", "updated_at", "note", "temperature_corrected"}
    left = {name: value for name, value in row.items() if name not in given and value not in (None, False, [])}
    assert left == {}, (row, fields)


def assert_views_are_the_lists(fleet: Fleet, rows: Rows) -> None:
    for device in fleet.writers:
        assert_view(device, rows)
    for device in fleet.readers:
        own = listed(device.line)
        assert_view(device, own)
        assert own.items() <= rows.items()
        for resource in WRITTEN[:4]:
            expected = {i for i, _ in fleet.model.alive(resource) if fleet.model.customer_of(i) == device.customer}
            there = {key[1] for key in own if key[0] == resource} - {*fleet.yard.lots, fleet.yard.anchor}
            assert there == expected, (device.name, resource, there ^ expected)


def assert_view(device: Device, rows: Rows) -> None:
    differ = {key for key in {**rows, **device.view.records} if device.view.records.get(key) != rows.get(key)}
    assert differ == set(), (device.name, [(device.view.records.get(k), rows.get(k)) for k in sorted(differ)[:3]])


def entries() -> dict[str, Entry]:
    return {str(entry.mutation_id): entry for entry in Entry.objects.filter(organization_id=organization_id())}


def assert_every_mutation_came_to_something(fleet: Fleet) -> None:
    """Applied once, or lost against another that is in its place with both kept, or held and listed."""
    ledger = entries()
    made = {each.id: each for device in fleet.writers for each in device.made}
    assert ledger.keys() == made.keys()
    kept = {each["id"]: each for status in ("held", "conflict") for each in fleet.held(status)}
    for mutation in made.values():
        assert_came_to_something(fleet, mutation, ledger, kept)
    twins = Counter(each.record_id for each in made.values() if each.kind in (CREATE, TWIN))
    new = Counter(str(each.record_id) for each in ledger.values() if each.op == "create" and each.status == "applied")
    for record_id in twins:
        assert new[record_id] == 1 or not fleet.model.is_alive(record_id), told_of(fleet, record_id)


def assert_came_to_something(
    fleet: Fleet, mutation: Mutation, ledger: dict[str, Entry], kept: dict[str, dict[str, Any]]
) -> None:
    entry, status = ledger[mutation.id], ledger[mutation.id].status
    fleet.network.count(f"{status} in the end")
    if status in ("held", "conflict"):
        assert kept[mutation.id]["record"] == mutation.record, mutation
    if mutation.bodies > 1:
        # What was sent under the same id before is kept as well, once for each time that another was sent.
        assert len(entry.earlier) >= 1, mutation
    if status in ("applied", "duplicate"):
        return
    if status == "dismissed":
        assert mutation.kind in (WRONG, USED), mutation
    elif status == "conflict" and mutation.instead:
        assert mutation.instead.id in ledger
    elif status == "conflict" and mutation.kind in (CREATE, TWIN):
        twin = [each for each in ledger.values() if str(each.record_id) == mutation.record_id and each.op == "create"]
        assert "applied" in [each.status for each in twin], mutation
    elif mutation.record_id in fleet.model.records:
        assert not fleet.model.is_alive(mutation.record_id), (mutation, entry.problem)
    else:
        raise AssertionError((mutation, status))


def assert_history_explains_everything(fleet: Fleet, rows: Rows) -> None:
    """Numbers without a gap, versions without a gap, one mutation for each version, and replayed it gives the rows."""
    of_record: dict[tuple[str, str], list[Change]] = defaultdict(list)
    numbers = []
    for change in Change.objects.filter(organization_id=organization_id()).order_by("number"):
        numbers.append(change.number)
        of_record[change.resource, str(change.record_id)].append(change)
    assert numbers == list(range(1, feed.head(organization_id()) + 1))
    in_tables = dict(stored())
    assert in_tables.keys() == of_record.keys()
    applied: dict[tuple[str, int | None], Entry] = {}
    for entry in entries().values():
        if entry.status == "applied":
            twice = applied.setdefault((str(entry.record_id), entry.version), entry)
            assert twice is entry, (vars(twice), vars(entry))
    devices = {each.id: each.device for device in fleet.writers for each in device.made}
    explained = set()
    for key, changes in of_record.items():
        assert [change.version for change in changes] == list(range(1, len(changes) + 1)), key
        for before, change in zip([None, *changes], changes, strict=False):
            assert change.before == (before and before.after), (key, change.version)
            entry = applied.get((key[1], change.version))
            if entry is None:
                assert_follows_from_another(fleet, change)
            else:
                explained.add((key[1], change.version))
                assert change.device == ("office desk" if entry.settled_by else devices[str(entry.mutation_id)])
        assert changes[-1].after == in_tables[key], key
        assert (changes[-1].after is not None) == (key in rows), key
        assert key not in rows or rows[key]["version"] == len(changes)
    assert explained == applied.keys()


def assert_follows_from_another(fleet: Fleet, change: Change) -> None:
    """A version that no mutation asked for: made before the season, gone with its batch, handed over with its lot."""
    record_id = str(change.record_id)
    if record_id not in fleet.model.records:
        assert change.version == 1, change
    elif change.operation == "delete" and change.before is not None:
        assert fleet.model.records[fleet.model.records[record_id].fields["batch"]].removed, told_of(fleet, record_id)
    else:
        # Removed records are handed over as well, as tombstones.
        assert change.operation == ("update" if change.after else "delete"), told_of(fleet, record_id)
        assert without_stamps(change.before) == without_stamps(change.after), told_of(fleet, record_id)


def without_stamps(row: dict[str, Any] | None) -> dict[str, Any]:
    return {name: value for name, value in (row or {}).items() if name not in ("version", "updated_at")}


def stored() -> Iterator[tuple[tuple[str, str], dict[str, Any] | None]]:
    """Every row of every kind as the history would write it."""
    for resource in RESOURCES:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT t.id, CASE WHEN t.deleted_at IS NULL THEN to_jsonb(t) - 'organization_id' END"
                f" FROM {resource.model._meta.db_table} t WHERE organization_id = %s",
                [organization_id()],
            )
            for record_id, row in cursor.fetchall():
                yield (resource.name, str(record_id)), row and json.loads(row)


def assert_clocks_were_seen_through(fleet: Fleet) -> None:
    for device in fleet.writers:
        if device.skew_s is not None:
            assert abs(device.skew_s + device.clock_off.total_seconds()) < 60, (device.name, device.skew_s)


def assert_nothing_happens_again(fleet: Fleet, rows: Rows) -> None:
    """Every device sends once more whatever it ever sent: nothing is applied, nothing changes."""
    head = feed.head(organization_id())
    for device in fleet.writers:
        for begin in range(0, len(device.made), 1000):
            results = device.send(device.made[begin : begin + 1000])["results"]
            assert "applied" not in {each["status"] for each in results}
    assert feed.head(organization_id()) == head
    assert listed(fleet.office) == rows


def assert_rebuilt_the_same(fleet: Fleet) -> None:
    """Once no worker runs any more: each batch has the result of its newest data, and computed anew the same bits."""
    work_off_at_once()
    assert services.all_failures() == []
    alive = {record_id for record_id, _ in fleet.model.alive("batches")} | {fleet.yard.anchor}
    assert {str(each) for each in BatchResult.objects.values_list("batch_id", flat=True)} == alive
    generations = dict(StaleMark.objects.filter(kind="batch", key__in=alive).values_list("key", "done"))
    assert {str(each.batch_id): each.generation for each in BatchResult.objects.all()} == generations
    before = derived_rows(), taught()
    call_command("rebuild_results")
    work_off_at_once()
    assert (derived_rows(), taught()) == before


def work_off_at_once() -> None:
    """What would wait for a better moment as well."""
    while StaleMark.objects.filter(wanted__gt=F("done")).update(run_after=make.START):
        services.work_off()


def taught() -> list[dict[str, Any]]:
    rows = DryerCalibration.objects.order_by("dryer_id", "crop").values()
    return [{k: v for k, v in row.items() if k not in {"id", "generation", "computed_at"}} for row in rows]


def told_of(fleet: Fleet, record_id: str) -> str:
    """Everything there is about one record, for whoever looks for the fault."""
    made = [each for device in fleet.writers for each in device.made if each.record_id == record_id]
    ledger = entries()
    parts = [str(fleet.model.records.get(record_id))]
    parts += [f"{each} {vars(ledger[each.id]) if each.id in ledger else 'not in the ledger'}" for each in made]
    parts += [str(vars(change)) for change in Change.objects.filter(record_id=record_id).order_by("number")]
    return "\n  ".join(parts)
