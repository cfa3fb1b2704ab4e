"""The page and the PDF of a statement: every total stands in them, texts stay texts, the same bytes every time."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
import subprocess
from decimal import Decimal as D
from html import unescape

import pytest

from dryrecords.core.ids import new_id
from dryrecords.equipment.models import Dryer
from dryrecords.settlement import statement_pages
from dryrecords.settlement.statement_document import Document
from dryrecords.tenancy.models import Site
from tests.settlement.seasons import facts, issued, lot, rate, view
from tests.settlement.test_statement_document import SURCHARGE, loads_of

NASTY = '<script>alert(1)</script> #read("/etc/passwd") & *Söhne* $x$ \\ @a ] Żółć {{ 7|add:1 }}'


@pytest.fixture(scope="module")
def long() -> Document:
    """200 loads of two lots, in a dryer with a long name, of a customer with an unfriendly one."""
    dryer = Dryer(
        site=Site(name="Teasel Yard, Harrowmere County", timezone="America/Chicago"),
        name="Second continuous-flow dryer behind the old schoolhouse",
    )
    lots = [lot("North field"), lot(NASTY)]
    views = [
        view(n, moisture_in=17 + n % 9 / 3, wet_bu=900 + 7.77 * n, lot=lots[n % 2], dryer=dryer if n % 3 else None)
        for n in range(200)
    ]
    terms = rate(id=new_id(), in_usd_bu=D("0.05"), out_usd_bu=D("0.04"), shrink="actual", **SURCHARGE)
    return issued(facts(views, terms, gas_usd=D("1.83"), customer=NASTY), corrects={"id": "x", "number": "2025-0003"})


def amounts(document: Document) -> list[str]:
    """Every printed total, and every load's."""
    sums = [section["totals"] for section in document["lots"]] + document["totals"]["by_crop"] + loads_of(document)
    names = ("wet_bu", "back_bu", "total_usd", "drying_usd", "surcharge_usd")
    whole = document["totals"]
    money = [whole[name] for name in ("drying_usd", "surcharge_usd", "in_usd", "out_usd", "total_usd")]
    return [f"{D(each):,}" for each in [of[name] for of in sums for name in names if name in of] + money]


@pytest.fixture(scope="module")
def pages(long: Document, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The text of each page of the PDF, as poppler reads it."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    file = tmp_path_factory.mktemp("pdf") / "statement.pdf"
    file.write_bytes(statement_pages.pdf(long))
    read = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True)
    return read.stdout.split("\f")[:-1]


def test_every_amount_stands_in_the_pdf(long: Document, pages: list[str]) -> None:
    told = set(re.split(r"\s+", " ".join(pages)))
    assert len(amounts(long)) > 1000
    assert [amount for amount in amounts(long) if amount not in told] == []


def test_pages_are_numbered_and_headed(pages: list[str]) -> None:
    assert len(pages) >= 6
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Statement 2025-0007" in page
        assert "certified scales and meters" in page
    headed = [page for page in pages if re.search(r"^ *\d+ +2025-\d\d-\d\d ", page, re.MULTILINE)]
    assert len(headed) >= 5
    assert all("Site, dryer" in page and "Charges, USD" in page for page in headed)


def test_texts_are_set_as_they_are(pages: list[str]) -> None:
    assert NASTY in pages[0].replace("  ", " ")
    assert "root:" not in " ".join(pages)
    assert "takes the place of statement 2025-0003" in pages[0].lower()


def test_the_same_statement_is_the_same_bytes(long: Document) -> None:
    first = statement_pages.pdf(long)
    assert first.startswith(b"%PDF-")
    assert statement_pages.pdf(long) == first
    assert len(first) < 300_000


def test_a_statement_of_nothing() -> None:
    empty = issued(facts([]))
    assert statement_pages.pdf(empty).startswith(b"%PDF-")
    assert "No load of this season can be charged." in statement_pages.html(empty)


def test_every_amount_stands_in_the_page(long: Document) -> None:
    page = statement_pages.html(long)
    told = {unescape(cell).strip() for cell in re.findall(r"<td[^>]*>([^<]*)</td>", page)}
    assert [amount for amount in amounts(long) if amount not in told] == []


def test_the_page_is_self_contained_and_safe(long: Document) -> None:
    page = statement_pages.html(long)
    assert NASTY not in page
    assert NASTY in unescape(page)
    assert not re.findall(r"<(?:script|link|img|iframe)|\s(?:style|src|href|on\w+)=", page)
    (style,) = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{digest}'" == statement_pages.STYLE_SOURCE
    # Readable without colours: black, white and greys.
    colours = re.findall(r"#[0-9a-f]{3,6}\b", style)
    assert all(len(set(colour[1:])) == 1 for colour in colours)
    assert "goes before anything printed here" in page
