"""The pages in a browser: from the board to a result, at a desk and on a phone; read out, without scripts, printed."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from unittest import mock

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.management import call_command
from django.db import connection
from django.test import override_settings
from playwright.sync_api import Browser, Page, expect, sync_playwright
from pytest_django.live_server_helper import LiveServer

from dryrecords.config import demo
from dryrecords.core import clock
from dryrecords.equipment.models import Bin, Dryer, Tank
from dryrecords.harvest.models import Batch
from dryrecords.season import services
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.models import Organization, Site
from dryrecords.tenancy.services import access_of_command
from tests import factories
from tests.office.browsing import (
    FLAGS,
    PATIENCE_MS,
    SIZES,
    browser_of,
    complaints,
    picture,
    sign_in,
    sticks_out,
)
from tests.office.writing import writing_paths
from tests.threads import in_threads

# Each test looks from inside a transaction of its own; the pages come from what the season's fixture has committed.
pytestmark = pytest.mark.django_db

MD5 = "django.contrib.auth.hashers.MD5PasswordHasher"
SERIOUS = {"serious", "critical"}


@dataclass(frozen=True)
class Office:
    """The served pages over the invented season, and who may sign in."""

    address: str
    password: str
    # A page of each kind.
    paths: dict[str, str]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread; the database is used from it all the same, one thing at a time.
    with mock.patch.dict(os.environ, {"DJANGO_ALLOW_ASYNC_UNSAFE": "1"}), sync_playwright() as playwright:
        if not (path := browser_of(playwright)):
            pytest.skip("No browser: install chromium, or run `playwright install chromium`.")
        with playwright.chromium.launch(executable_path=path, args=FLAGS) as launched:
            yield launched


@pytest.fixture(scope="module")
def office(browser: Browser, django_db_setup: None, django_db_blocker: Any) -> Iterator[Office]:
    """Committed, since a server reads it by connections of its own; emptied at the end."""
    with django_db_blocker.unblock(), override_settings(PASSWORD_HASHERS=[MD5]):
        server = LiveServer("localhost")
        try:
            paths = _season()
            yield Office(server.url, demo.new_password(), paths)
        finally:
            server.stop()
            call_command("flush", verbosity=0, interactive=False)
            # Beside Playwright's event loop this thread has had a connection of its own.
            connection.close()


def _season() -> dict[str, str]:
    demo.load()
    by = access_of_command(Organization.objects.get(name=demo.ORGANIZATION), "test")
    dryer = Dryer.objects.filter(type="batch_in_bin", batches__readings__isnull=False).order_by("name")[0]
    open_ = factories.batch(
        by, dryer, started_at=clock.now() - timedelta(hours=2), drying_ended_at=None, season=demo.SEASON
    )
    services.work_off()
    read = Batch.objects.filter(dryer=dryer, readings__isnull=False, drying_ended_at__isnull=False).order_by("pk")[0]
    return {
        "board": "/office",
        "site": f"/office/sites/{Site.objects.order_by('name')[0].pk}",
        "dryer": f"/office/dryers/{dryer.pk}",
        "advice": f"/office/dryers/{dryer.pk}?crop=corn&moisture_in_pct=22",
        "tank": f"/office/tanks/{Tank.objects.get(name='Corner tank').pk}?air_temp_f=20&diameter_in=84&length_in=480",
        "outlook": f"/office/sites/{Tank.objects.get(name='Gate tank').site_id}/outlook?wet_bu=20000&moisture_in_pct=22"
        "&crop=corn&hours_per_day=16",
        "bin": f"/office/bins/{Bin.objects.filter(samples__isnull=False).order_by('name', 'pk')[0].pk}",
        "batches": "/office/batches",
        "batch": f"/office/batches/{read.pk}",
        "open-batch": f"/office/batches/{open_.pk}",
        "password": "/office/password",
        "refusal": "/office/nothing-here",
        **writing_paths(by, read, dryer),
    }


@pytest.fixture(params=SIZES)
def page(request: pytest.FixtureRequest, browser: Browser, office: Office) -> Iterator[Page]:
    """Somebody signed in, at a desk or with a phone."""
    width, height = SIZES[request.param]
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=request.param == "phone")
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    sign_in(page, office.address, demo.PERSON, office.password)
    yield page
    context.close()


@pytest.fixture
def size(page: Page) -> str:
    assert page.viewport_size is not None
    return next(name for name, (width, _) in SIZES.items() if width == page.viewport_size["width"])


def work_off() -> None:
    """As a worker would, committed: what was entered in the browser is in the figures of the next page."""
    with in_threads(services.work_off):
        pass


def test_what_is_entered_meanwhile_shows_on_the_next_page(page: Page, office: Office) -> None:
    """Written by a field app, say; the page says that its figures are about to change, and then they have."""
    batch = Batch.objects.get(pk=office.paths["batch"].rsplit("/", 1)[1])
    page.goto(office.address + office.paths["batch"])
    before = page.locator(".figure").inner_text()
    waiting = page.get_by_text("these figures are about to change")
    expect(waiting).to_have_count(0)
    by = access_of_command(Organization.objects.get(name=demo.ORGANIZATION), "test")
    sample = {"stage": "cooled", "taken_at": batch.drying_ended_at + timedelta(hours=3), "moisture_pct": 9.0}
    with in_threads(lambda: factories.sample(by, batch, **sample)):
        pass
    page.reload()
    expect(waiting).to_be_visible()
    work_off()
    page.reload()
    expect(waiting).to_have_count(0)
    assert page.locator(".figure").inner_text() != before


def test_one_batch_from_the_board_to_its_result(page: Page, office: Office) -> None:
    said = complaints(page)
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Season {demo.SEASON}")
    site = page.get_by_role("region", name="Sites").get_by_role("link").first
    name = site.inner_text()
    site.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(f"{name}, {demo.SEASON}")
    page.get_by_role("link", name="Its batches").click()
    batch = page.get_by_role("listitem").get_by_role("link").filter(has_text=re.compile(r"\d:\d\d [ap]m")).nth(1)
    began = batch.inner_text()
    batch.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(began)
    batch_id = page.url.rsplit("/", 1)[1]
    result = BatchResult.objects.get(batch_id=batch_id)
    told = page.get_by_role("region", name="Result").or_(page.locator("section", has_text="Result")).first
    expect(told).to_contain_text(f"{result.moisture_out_pct:.1f}"[:4])
    expect(page.get_by_role("img").first).to_be_visible()
    page.get_by_text("The numbers of this chart").click()
    expect(page.get_by_role("link", name="As CSV")).to_be_visible()
    assert said == []


def test_pages_can_be_read_by_everybody(page: Page, size: str, office: Office) -> None:
    """No serious fault by axe-core, nothing wider than the screen, a picture of each to look at."""
    axe = Axe()
    found = []
    for name, path in office.paths.items():
        answer = page.goto(office.address + path)
        assert answer is not None
        assert answer.status < 500, name
        picture(page, name, size)
        assert sticks_out(page) == 0, name
        for fault in axe.run(page).response["violations"]:
            if fault["impact"] in SERIOUS:
                found.append((name, fault["id"], [node["html"][:200] for node in fault["nodes"]]))
    assert found == []


def test_no_column_is_cut_off_without_a_word(page: Page, size: str, office: Office) -> None:
    """On a phone rows of a table stand below each other, named; numbers of charts scroll, which is said above them."""
    for name in ("board", "site", "batch", "tank", "bin"):
        page.goto(office.address + office.paths[name])
        cut = "all => all.filter(each => each.scrollWidth > each.clientWidth).length"
        stacked = page.locator(".wide:has(.stack)")
        assert stacked.count() > 0, name
        assert stacked.evaluate_all(cut) == 0, name
        for each in page.locator(".stack td[data-label]").all()[:30]:
            named = each.evaluate("each => getComputedStyle(each, '::before').content")
            assert (named != "none") == (size == "phone"), name
    page.goto(office.address + office.paths["site"])
    page.get_by_text("The numbers of this chart").last.click()
    expect(page.get_by_text("scrolls sideways").last).to_be_visible(visible=size == "phone")
    picture(page, "numbers", size)
    assert sticks_out(page) == 0
    assert _faults(page) == []


def test_what_is_pressed_is_large_enough_for_a_thumb(page: Page, size: str, office: Office) -> None:
    """WCAG 2.2, 2.5.8, asks for 24 pixels; buttons, fields and the ways between pages have 44."""
    for name in ("board", "advice", "batches", "enter", "new-sample", "correct-batch", "held-one", "sheets"):
        path = office.paths[name]
        page.goto(office.address + path)
        for each in page.locator(
            "main button:visible, main select:visible, main input:visible:not([type=checkbox]), .taps a:visible, nav a"
        ).all():
            box = each.bounding_box()
            assert box is not None
            assert box["height"] >= (44 if size == "phone" else 40), each.evaluate("each => each.outerHTML")


def test_by_keyboard_one_is_at_the_content_at_once(page: Page, office: Office) -> None:
    page.goto(office.address + office.paths["batch"])
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()


def test_a_chart_can_be_looked_at_closer(page: Page, size: str, office: Office) -> None:
    said = complaints(page)
    page.goto(office.address + office.paths["batch"])
    page.get_by_role("button", name="Look closer").click()
    expect(page.locator("figure canvas")).to_be_visible()
    picture(page, "closer", size)
    assert sticks_out(page) == 0
    page.get_by_role("button", name="Back to the drawing").click()
    expect(page.locator("figure svg.drawing").first).to_be_visible()
    assert said == []


def test_without_scripts_nothing_is_missing(browser: Browser, office: Office) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, office.address, demo.PERSON, office.password)
    page.goto(office.address + office.paths["batch"])
    expect(page.locator("figure svg.drawing").first).to_be_visible()
    expect(page.get_by_role("button", name="Look closer")).to_have_count(0)
    page.get_by_text("The numbers of this chart").click()
    expect(page.locator("figure table")).to_be_visible()
    page.goto(office.address + office.paths["dryer"])
    page.get_by_label("Moisture of the wet grain").fill("22")
    page.get_by_role("button", name="Advise").click()
    expect(page.get_by_text("Stop at", exact=True)).to_be_visible()
    context.close()


def test_in_print_there_is_only_what_can_be_read_on_paper(browser: Browser, office: Office) -> None:
    context = browser.new_context()
    page = context.new_page()
    sign_in(page, office.address, demo.PERSON, office.password)
    page.goto(office.address + office.paths["site"])
    page.emulate_media(media="print")
    expect(page.locator("nav")).to_be_hidden()
    expect(page.get_by_role("button", name="Sign out")).to_be_hidden()
    expect(page.locator("svg.drawing").first).to_be_visible()
    picture(page, "print", "desktop")
    context.close()


def test_a_corrected_sample_changes_the_figure(page: Page, size: str, office: Office) -> None:
    said = complaints(page)
    page.goto(office.address + office.paths["batch"])
    result = page.locator("section", has=page.get_by_role("heading", name="Result"))
    before = result.get_by_text("Moisture out").locator("..").inner_text()
    page.get_by_role("link", name="Correct the cooled sample").first.click()
    moisture = page.get_by_label("Moisture, %")
    was = float(moisture.input_value())
    moisture.fill("wet")
    page.get_by_role("button", name="Save").click()
    page.get_by_role("alert").get_by_role("link", name="Moisture").click()
    expect(moisture).to_be_focused()
    assert moisture.input_value() == "wet"
    picture(page, "refused", size)
    assert _faults(page) == []
    moisture.fill(f"{was - 0.7:.1f}".replace(".", ","))
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status").first).to_have_text("The sample is corrected.")
    expect(result).to_contain_text("about to change")
    picture(page, "corrected", size)
    work_off()
    page.reload()
    expect(result).not_to_contain_text("about to change")
    assert result.get_by_text("Moisture out").locator("..").inner_text() != before
    expect(page.locator("section", has_text="History")).to_contain_text("sample corrected")
    # A form that is refused is answered by 422, which a browser says too.
    assert [each for each in said if "422" not in each] == []


def test_two_who_correct_the_same_sample(page: Page, size: str, office: Office) -> None:
    other = page.context.new_page()
    for each in (page, other):
        each.goto(office.address + office.paths["correct-sample"])
    later = float(page.get_by_label("Moisture, %").input_value()) + 0.1
    other.get_by_label("Moisture, %").fill(f"{later:.2f}")
    other.get_by_role("button", name="Save").click()
    page.get_by_label("Moisture, %").fill("23")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("changed after you opened it")
    expect(page.get_by_text("Recorded meanwhile:")).to_contain_text(f"{later:g}")
    picture(page, "meanwhile", size)
    assert _faults(page) == []


def test_by_hand_without_scripts(browser: Browser, office: Office) -> None:
    """From what can be entered to what was entered, removed and brought back, at the size of a phone."""
    width, height = SIZES["phone"]
    context = browser.new_context(java_script_enabled=False, viewport={"width": width, "height": height})
    page = context.new_page()
    sign_in(page, office.address, demo.PERSON, office.password)
    page.get_by_role("link", name="Enter", exact=True).click()
    page.get_by_role("heading", name="Teasel Yard").click()
    page.get_by_role("listitem").filter(has_text="propane").get_by_role("link", name="Fuel reading").first.click()
    page.get_by_label("Gauge, %").fill("61")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status")).to_have_text("The fuel reading is recorded.")
    page.get_by_role("listitem").filter(has_text="Gauge 61 %").first.get_by_role("link").click()
    page.get_by_text("Remove this fuel reading").click()
    page.get_by_role("button", name="Remove it").click()
    page.get_by_role("button", name="Bring it back").click()
    expect(page.get_by_role("status")).to_have_text("The fuel reading is back.")
    context.close()


def _faults(page: Page) -> list[str]:
    return [fault["id"] for fault in Axe().run(page).response["violations"] if fault["impact"] in SERIOUS]
