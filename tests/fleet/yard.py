"""Where the fleet works: two customers, their sites, dryers, tanks and lots; and what a device writes on a day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from dryrecords.core.ids import new_id
from tests import factories as make
from tests.fleet.device import Device
from tests.fleet.model import Model
from tests.fleet.mutations import CREATE, OWN, REMOVE, TWIN, USED, WORD, WRONG, Mutation, with_word

ORGANIZATION = "Fleet Drying"


@dataclass
class Yard:
    """Written before the season begins, by the office."""

    customers: list[str]
    dryers: list[str]
    tanks: list[str]
    meter: str
    lots: list[str]
    # One batch that nobody touches, so that its lot stays in use.
    anchor: str
    model: Model

    @classmethod
    def made(cls, season: int, begins: datetime) -> Yard:
        by = make.access(make.organization(ORGANIZATION))
        customers = [make.customer(by, name=f"{side} Field Farm") for side in ("North", "South")]
        sites = [make.site(by, of, name=f"Place of {of.name}") for of in customers]
        tanks = [make.tank(by, at, name=f"Tank {at.name}") for at in sites]
        dryers = [
            make.dryer(by, at, name=f"Dryer {number}", tank_id=tank.pk)
            for at, tank in zip(sites, tanks, strict=True)
            for number in range(4)
        ]
        lots = [make.lot(by, of, season=season, name=f"Corn of {of.name}") for of in customers]
        make.price(by, kind="grain", crop="corn", effective_from=begins - timedelta(days=90))
        make.price(by, kind="propane", effective_from=begins - timedelta(days=90))
        ends = begins + timedelta(hours=4)
        anchor = make.batch(by, dryers[0], lot_id=lots[0].pk, season=season, started_at=begins, drying_ended_at=ends)
        customer_of_site = {at.pk: str(of.pk) for at, of in zip(sites, customers, strict=True)}
        model = Model(
            {str(each.pk): customer_of_site[each.site_id] for each in dryers},
            {str(lot.pk): str(of.pk) for lot, of in zip(lots, customers, strict=True)},
        )
        ids = [[str(each.pk) for each in kind] for kind in (customers, dryers, tanks, lots)]
        return cls(*ids[:3], str(make.meter(by).pk), ids[3], str(anchor.pk), model)


class Hand:
    """Who holds a device, and writes with it what happened on a day."""

    def __init__(self, device: Device, yard: Yard, season: int, *, prices: bool) -> None:
        self.device, self.yard, self.season, self.model = device, yard, season, yard.model
        self._chance, self._words = device.chance, 0
        # What this hand wrote, by kind, without what it removed.
        self.own: dict[str, list[str]] = {"batches": [], "samples": [], "readings": [], "lots": []}
        # How often each happens, against the others.
        self._doings: list[tuple[int, Callable[[datetime], None]]] = [
            (20, self._dry),
            (20, self._measure_others),
            (14, self._say),
            (14, self._go_on),
            (8, self._correct),
            (6, self._remove),
            (2, self._remove_batch),
            (3, self._hand_over),
            (2, self._new_lot),
            (3, self._write_again),
            (2, self._write_nonsense),
            (1, self._remove_what_is_used),
            (4, self._read_gauge),
            (4 if prices else 0, self._set_price),
        ]

    def write(self, day: datetime, times: int) -> None:
        weights = [weight for weight, _ in self._doings]
        for _ in range(times):
            _, do = self._chance.choices(self._doings, weights)[0]
            # The device's clock says when.
            do(day + timedelta(minutes=self._chance.randrange(24 * 60)) + self.device.clock_off)

    def _add(self, kind: str, resource: str, record: dict[str, Any], **more: Any) -> None:
        self.device.add(Mutation(kind, resource, record, self.device.name, **more))

    def _make(self, resource: str, **record: Any) -> str:
        record = {"id": str(new_id())} | record
        self.model.made(resource, record)
        if resource in self.own:
            self.own[resource].append(record["id"])
        self._add(CREATE, resource, record)
        return str(record["id"])

    def _dry(self, at: datetime) -> None:
        lot = self._chance.choice([*self.yard.lots, *self.own["lots"], None])
        batch = self._make(
            "batches",
            dryer=self._chance.choice(self.yard.dryers),
            crop="corn",
            season=self.season,
            started_at=at.isoformat(),
            wet_mass_lb=float(self._chance.randrange(40_000, 60_000)),
            mass_basis="scale",
            **({"lot": lot} if lot else {}),
        )
        self._measure(batch, at, "wet")
        self._make("readings", batch=batch, at=at.isoformat(), plenum_temp_f=float(self._chance.randrange(150, 200)))
        if self._chance.random() < 0.6:
            self._measure(batch, at + timedelta(hours=9), "cooled")

    def _measure(self, batch: str, at: datetime, stage: str) -> None:
        moisture = self._chance.randrange(1300, 1600) / 100 + (5 if stage == "wet" else 0)
        self._make(
            "samples", batch=batch, stage=stage, taken_at=at.isoformat(), moisture_pct=moisture, meter=self.yard.meter
        )

    def _measure_others(self, at: datetime) -> None:
        """Of any batch that somebody told of, whether or not it is on the server, or still is."""
        if self.model.spoken:
            self._measure(self._chance.choice(self.model.spoken[-60:]), at, self._chance.choice(("hot", "cooled")))

    def _say(self, at: datetime) -> None:
        """A word more in the note of some batch that is in sight: the ones of late, where others write as well."""
        there = [key for key in self.device.view.records if key[0] == "batches" and key[1] != self.yard.anchor]
        if not there:
            return
        key = self._chance.choice(there[-12:])
        if self.device.is_busy_with(key[1]):
            return
        self._words += 1
        word = f"{self.device.name}-{self._words}"
        self.model.said(key[1], word)
        note = with_word(self.device.view.records[key]["note"], word)
        base = self.device.view.versions[key]
        self._add(WORD, "batches", {"id": key[1], "note": note}, base_version=base, word=word)

    def _change(self, resource: str, record_id: str, **fields: Any) -> None:
        """Fields that nobody else writes, upon the version that is known or upon whatever there is."""
        # What changes nothing makes no version.
        if self.device.is_busy_with(record_id) or fields.items() <= self.model.records[record_id].fields.items():
            return
        self.model.changed(record_id, fields)
        self._add(OWN, resource, {"id": record_id} | fields, base_version=self._base(resource, record_id))

    def _base(self, resource: str, record_id: str) -> int | None:
        known = self.device.view.versions.get((resource, record_id), 1)
        return self._chance.choice((known, None))

    def _some(self, resource: str) -> str | None:
        return self._chance.choice(self.own[resource][-20:]) if self.own[resource] else None

    def _go_on(self, at: datetime) -> None:
        if batch := self._some("batches"):
            ended = datetime.fromisoformat(self.model.records[batch].fields["started_at"])
            ended += timedelta(minutes=self._chance.randrange(120, 500))
            cutoff = float(self._chance.randrange(90, 140))
            self._change("batches", batch, drying_ended_at=ended.isoformat(), cutoff_temp_f=cutoff)

    def _correct(self, at: datetime) -> None:
        if sample := self._some("samples"):
            self._change("samples", sample, moisture_pct=self._chance.randrange(1200, 2600) / 100)

    def _remove(self, at: datetime) -> None:
        self._take_away(self._chance.choice(("samples", "readings")))

    def _remove_batch(self, at: datetime) -> None:
        self._take_away("batches")

    def _take_away(self, resource: str) -> None:
        record_id = self._some(resource)
        if record_id and not self.device.is_busy_with(record_id):
            self.own[resource].remove(record_id)
            self.model.removed(record_id)
            self._add(REMOVE, resource, {"id": record_id}, base_version=self._base(resource, record_id))

    def _hand_over(self, at: datetime) -> None:
        """A batch goes to another lot, or a whole lot to another customer; what hangs on it goes along."""
        if self._chance.random() < 0.5 and (lot := self._some("lots")):
            self._change("lots", lot, customer=self._chance.choice(self.yard.customers))
        elif batch := self._some("batches"):
            self._change("batches", batch, lot=self._chance.choice([*self.yard.lots, *self.own["lots"]]))

    def _new_lot(self, at: datetime) -> None:
        customer = self._chance.choice(self.yard.customers)
        self._make("lots", customer=customer, crop="corn", season=self.season, name=f"Lot {at:%d %b %H:%M}")

    def _write_again(self, at: datetime) -> None:
        """As an app does that was set up anew: the same record under another id."""
        creates = [each for each in self.device.made[-40:] if each.kind == CREATE]
        if creates:
            first = self._chance.choice(creates)
            self._add(TWIN, first.resource, first.record)

    def _write_nonsense(self, at: datetime) -> None:
        batch = self._some("batches")
        if batch and self.model.is_alive(batch):
            record = {"id": str(new_id()), "batch": batch, "stage": "hot", "taken_at": at.isoformat()}
            self.model.made("samples", record | {"moisture_pct": 99.0}, wrong=True)
            self._add(WRONG, "samples", record | {"moisture_pct": 99.0})

    def _remove_what_is_used(self, at: datetime) -> None:
        self._add(USED, "lots", {"id": self.yard.lots[0]})

    def _read_gauge(self, at: datetime) -> None:
        gauge = float(self._chance.randrange(10, 90))
        self._make("fuel-readings", tank=self._chance.choice(self.yard.tanks), at=at.isoformat(), gauge_pct=gauge)

    def _set_price(self, at: datetime) -> None:
        seconds = timedelta(seconds=self._chance.random() * 3600)
        price = f"1.{self._chance.randrange(100):02}"
        self._make("prices", kind="propane", effective_from=(at + seconds).isoformat(), unit_price_usd=price)
