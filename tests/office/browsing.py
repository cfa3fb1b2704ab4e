"""A browser before the served pages: which one, at which sizes, and a person's way in."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, Playwright

from dryrecords.runtime import layout

# A person may look at them after a run; git does not.
PICTURES = layout.CHECKOUT / ".dryrecords-test" / "pages"
SIZES = {"desktop": (1280, 900), "phone": (360, 740)}
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
# As root there is no sandbox to be had; the rest keeps it from talking to anybody else.
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
PATIENCE_MS = 20_000


def browser_of(playwright: Playwright) -> str:
    """The machine's own, or one that `playwright install chromium` has fetched; empty if there is none."""
    named = os.environ.get("DRYRECORDS_BROWSER") or next(filter(None, map(shutil.which, NAMES)), "")
    fetched = playwright.chromium.executable_path
    return named or (fetched if Path(fetched).exists() else "")


def sign_in(page: Page, address: str, name: str, password: str) -> None:
    page.goto(f"{address}/office")
    page.get_by_label("Username").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", level=1).wait_for()


def picture(page: Page, name: str, size: str) -> None:
    """All of the page at once, as tall as it is, so that what sticks to the screen's end stands at the page's end."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": page.evaluate("document.documentElement.scrollHeight")})
    page.screenshot(path=PICTURES / f"{name}-{size}.png")
    page.set_viewport_size({"width": width, "height": height})


def sticks_out(page: Page) -> int:
    """Pixels by which the page is wider than the screen."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


def complaints(page: Page) -> list[str]:
    """What the browser has to say, in a list that goes on growing."""
    said: list[str] = []

    def hear(message: Any) -> None:
        if message.type in ("error", "warning"):
            said.append(message.text)

    page.on("console", hear)
    page.on("pageerror", lambda error: said.append(str(error)))
    return said
