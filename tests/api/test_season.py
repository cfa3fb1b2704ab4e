"""Results and seasons as the API tells them: trade units, the uncertainty beside each figure, money in cents."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from api.figures import SHOWN, Shown
from api.season import RESULT_FIGURES, SEASON_FIGURES
from dryrecords.core.ids import new_id
from dryrecords.core.quantities import POUND_KG
from dryrecords.grain.figures import FIGURES
from dryrecords.journal.models import StaleMark
from dryrecords.season import services
from dryrecords.season.models import BatchResult
from tests import factories
from tests.api.client import Client
from tests.factories import START, Farm


@pytest.fixture
def computed(farm: Farm) -> Farm:
    """The farm's batch with moistures in and out and all prices, worked off."""
    factories.price(farm.by, kind="grain", crop="corn", unit_price_usd="4.00")
    factories.price(farm.by, kind="electricity", unit_price_usd="0.12")
    cooled = {"stage": "cooled", "moisture_pct": 14.2, "taken_at": START + timedelta(hours=5)}
    factories.sample(farm.by, farm["batches"], meter_id=farm["meters"].pk, **cooled)
    services.work_off()
    return farm


def result(client: Client, farm: Farm) -> dict[str, Any]:
    response = client.get(f"batches/{farm['batches'].pk}/result")
    assert response.status_code == 200, response.content
    body: dict[str, Any] = response.json()
    return body


def test_every_figure_has_a_place() -> None:
    assert set(SHOWN) == set(FIGURES)
    assert {name.removesuffix("_u") for name in SEASON_FIGURES} <= set(SHOWN)


def test_names_and_nesting(computed: Farm, office: Client) -> None:
    """The contract with everybody who reads results: written out, not taken from the table that makes them."""
    told = result(office, computed)
    groups = {
        "": "moisture_in_pct moisture_out_pct points_removed wet_mass_lb dry_mass_lb dry_matter_lb water_removed_lb "
        "wet_bu dry_bu base_bu market_bu fuel_gal fuel_btu fuel_therm electricity_kwh energy_btu_per_lb_water "
        "fuel_btu_per_lb_water thermal_efficiency_pct gal_per_point_bu drying_h throughput_bu_h",
        "shrink": "water_pct handling_pct total_pct",
        "expected": "fuel_btu electricity_kwh",
        "heat": "latent_btu grain_btu other_btu",
        "cost": "fuel_usd electricity_usd total_usd usd_per_point_bu",
        "over_drying": "points water_lb unsold_bu unsold_usd extra_fuel_gal extra_fuel_usd extra_electricity_kwh "
        "extra_electricity_usd extra_h total_usd",
        "under_drying": "points",
    }
    others = (
        "batch fresh computed_at method_version complete missing base_moisture_pct fuel_basis electricity_basis "
        "assumed warnings cautions error"
    )
    top = with_uncertainties(groups.pop(""))
    assert set(told) == top | set(groups) | set(others.split())
    for group, names in groups.items():
        assert set(told[group]) == with_uncertainties(names)


def with_uncertainties(names: str) -> set[str]:
    return {f"{name}{ending}" for name in names.split() for ending in ("", "_u")}


def test_before_anything_was_computed(farm: Farm, office: Client) -> None:
    told = result(office, farm)
    assert (told["fresh"], told["computed_at"], told["wet_mass_lb"], told["cost"]["total_usd"]) == (
        False,
        None,
        None,
        None,
    )
    season = office.get(f"sites/{farm['sites'].pk}/seasons/2025").json()
    assert (season["batches"], season["fresh"], season["computed_at"]) == (0, False, None)


def test_a_result(computed: Farm, office: Client) -> None:
    told = result(office, computed)
    row = BatchResult.objects.get()
    assert told["fresh"] is True
    assert told["complete"] is True
    assert told["error"] is None
    assert told["cautions"]
    # By hand: 25,000 kg from 20.5 to 14.2 percent, half a percent lost in handling; 56 lb to the bushel of corn
    # (University of Wisconsin Extension bushel table); base moisture 15 percent.
    wet_lb = 25_000 / POUND_KG
    dry_lb = wet_lb * (79.5 / 85.8 - 0.005)
    assert told["wet_mass_lb"] == pytest.approx(wet_lb, rel=1e-9)
    assert told["wet_bu"] == pytest.approx(wet_lb / 56, rel=1e-9)
    assert told["dry_mass_lb"] == pytest.approx(dry_lb, rel=1e-9)
    assert told["water_removed_lb"] == pytest.approx(wet_lb * 6.3 / 85.8, rel=1e-9)
    assert told["base_bu"] == pytest.approx(dry_lb * 0.858 / 0.85 / 56, rel=1e-9)
    assert told["shrink"]["water_pct"] == pytest.approx(100 * 6.3 / 85.8, rel=1e-9)
    assert told["drying_h"] == 4
    unsold_bu = dry_lb * 0.858 / 0.85 / 56 - dry_lb / 56
    assert told["over_drying"]["unsold_bu"] == pytest.approx(unsold_bu, rel=1e-8)
    assert told["over_drying"]["unsold_usd"] == round(4 * unsold_bu, 2)
    assert told["fuel_btu"] == pytest.approx(row.fuel_energy_j / 1055.05585262, rel=1e-9)
    assert told["fuel_gal"] == pytest.approx(row.fuel_volume_m3 / 0.003785411784, rel=1e-9)
    assert told["fuel_therm"] is None
    assert told["energy_btu_per_lb_water"] == pytest.approx(row.energy_j_per_kg_water / 2326.0, rel=1e-9)
    assert told["gal_per_point_bu"] == pytest.approx(told["fuel_gal"] / 6.3 / told["wet_bu"], rel=1e-8)


def test_each_figure_has_its_uncertainty_in_the_same_unit(computed: Farm, office: Client) -> None:
    told, row = result(office, computed), BatchResult.objects.get()
    for inside, shown in SHOWN.items():
        place = told[shown.group] if shown.group else told
        value, uncertainty = getattr(row, inside), getattr(row, f"{inside}_u")
        if shown.is_amount:
            assert place[f"{shown.name}_u"] == pytest.approx(uncertainty, abs=0.0051)
            assert round(place[shown.name], 2) == place[shown.name]
        elif value:
            ratio = place[f"{shown.name}_u"] / place[shown.name]
            assert ratio == pytest.approx(uncertainty / value, rel=1e-8), inside


def test_natural_gas_is_told_in_therms(farm: Farm, office: Client) -> None:
    supply = factories.tank(farm.by, farm["sites"], fuel="natural_gas", capacity_m3=None)
    machine = factories.dryer(farm.by, farm["sites"], tank_id=supply.pk)
    batch = factories.batch(farm.by, machine)
    factories.sample(farm.by, batch)
    factories.sample(farm.by, batch, stage="cooled", moisture_pct=15.0, taken_at=START + timedelta(hours=5))
    for hours, therms in ((0, 1000.0), (4, 1100.0)):
        factories.fuel_reading(
            farm.by, supply, at=START + timedelta(hours=hours), gauge_pct=None, meter_j=therms * 105_505_585.262
        )
    services.work_off()
    told = office.get(f"batches/{batch.pk}/result").json()
    assert (told["fuel_gal"], told["fuel_basis"]) == (None, "metered")
    assert told["fuel_therm"] == pytest.approx(100, rel=1e-9)
    assert told["fuel_btu"] == pytest.approx(1e7, rel=1e-9)


def test_a_write_makes_it_stale_and_work_makes_it_fresh(computed: Farm, office: Client) -> None:
    office.patch(f"batches/{computed['batches'].pk}", {"wet_mass_lb": 50_000.0})
    assert result(office, computed)["fresh"] is False
    assert office.get(f"sites/{computed['sites'].pk}/seasons/2025").json()["fresh"] is False
    services.work_off()
    told = result(office, computed)
    assert (told["fresh"], told["wet_mass_lb"]) == (True, 50_000)


def test_the_last_error_is_shown(computed: Farm, office: Client) -> None:
    StaleMark.objects.filter(kind="batch").update(wanted=9, last_error="ValueError: no")
    told = result(office, computed)
    assert (told["fresh"], told["error"]) == (False, "ValueError: no")


def test_what_is_missing_has_names_of_the_wire(farm: Farm, office: Client) -> None:
    batch = factories.batch(farm.by, farm["dryers"], wet_mass_kg=None, drying_ended_at=None)
    services.work_off()
    told = office.get(f"batches/{batch.pk}/result").json()
    assert told["complete"] is False
    assert {"wet_mass_lb", "drying_ended_at", "moisture_in_pct", "moisture_out_pct"} <= set(told["missing"])


def test_a_season_adds_up(computed: Farm, office: Client) -> None:
    machine = factories.dryer(computed.by, computed["sites"], name="Second")
    other = factories.batch(computed.by, machine, started_at=START + timedelta(days=1), drying_ended_at=None)
    services.work_off()
    first = result(office, computed)
    assert office.get(f"batches/{other.pk}/result").json()["complete"] is False
    season = office.get(f"sites/{computed['sites'].pk}/seasons/2025").json()
    assert (season["batches"], season["complete_batches"], season["fresh"]) == (2, 1, True)
    assert season["site"] == str(computed["sites"].pk)
    # The incomplete batch is counted, and is in no figure: what went in is that of the batches that came out.
    assert season["wet_bu"] == pytest.approx(first["wet_bu"], rel=1e-9)
    assert season["fuel_metered_batches"] == 0
    assert season["water_removed_lb"] == pytest.approx(first["water_removed_lb"], rel=1e-9)
    assert season["moisture_in_pct"] == pytest.approx(20.5, rel=1e-9)
    assert season["over_drying"]["total_usd"] == first["over_drying"]["total_usd"]
    assert season["cost"]["usd_per_point_bu"] == pytest.approx(first["cost"]["usd_per_point_bu"], rel=1e-6)
    assert {group["dryer"] for group in season["by_dryer"]} == {str(computed["dryers"].pk)}
    (corn,) = season["by_crop"]
    assert (corn["crop"], corn["batches"], corn["wet_bu"]) == ("corn", 1, season["wet_bu"])
    assert season["worst"] == [first["batch"]]

    overview = office.get("seasons/2025").json()
    assert [site["site"] for site in overview["sites"]] == [season["site"]]
    assert overview["wet_bu"] == season["wet_bu"]
    assert office.get(f"seasons/2025?customer={computed['customers'].pk}").json()["batches"] == 2
    assert office.get("seasons/2024").json()["batches"] == 0


def test_seasons_that_are_not_there(farm: Farm, office: Client) -> None:
    assert office.get(f"sites/{new_id()}/seasons/2025").status_code == 404
    assert office.get(f"seasons/2025?customer={new_id()}").status_code == 404


def test_the_document_says_what_is_sent(computed: Farm, office: Client) -> None:
    from jsonschema import Draft202012Validator

    document = office.get("schema").json()
    for path, address in (
        (f"batches/{computed['batches'].pk}/result", "/api/v1/batches/{id}/result"),
        (f"sites/{computed['sites'].pk}/seasons/2025", "/api/v1/sites/{id}/seasons/{season}"),
        ("seasons/2025", "/api/v1/seasons/{season}"),
    ):
        told = document["paths"][address]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
        sent = office.get(path).json()
        assert [error.message for error in Draft202012Validator(told).iter_errors(sent)] == []
        assert set(sent) == set(told["properties"])
    assert len(RESULT_FIGURES) == 2 * len(FIGURES)


@pytest.mark.parametrize(
    ("shown", "value", "outside"),
    [
        (Shown("total_usd"), 0.125, 0.13),
        (Shown("total_usd"), -0.125, -0.13),
        (Shown("total_usd"), 1e300, 1e300),
        (Shown("fuel_gal", "gal"), 0.003785411784, 1),
        (Shown("wet_bu"), float("nan"), None),
        (Shown("wet_bu"), float("inf"), None),
        (Shown("wet_bu"), None, None),
        (Shown("wet_bu"), 1 / 3, 0.3333333333),
    ],
)
def test_how_a_figure_is_written(shown: Shown, value: float | None, outside: float | None) -> None:
    assert shown.outward(value) == outside
