"""The pages after a case, in a real browser: they load nothing, are easy to read, and print well.

axe-core judges accessibility against WCAG 2.2, up to AAA.
"""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from unicodedata import normalize

import pytest
from golden_make import home
from invented import LEVELS, Invention, invent
from pypdf import PdfReader
from stories import Story, resealed

from voicecheck.cases.aggregates import summarise
from voicecheck.cases.collection import collect
from voicecheck.cases.overview import cases_page
from voicecheck.core.facts import Opened
from voicecheck.journal import read
from voicecheck.review.case_page import Doublet, case_page
from voicecheck.review.examine import examine

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from looks import violations  # noqa: E402
from playwright.sync_api import BrowserContext, Page, sync_playwright  # noqa: E402

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"]
NAMES = ("review", "damaged", "cases")
PAPER_PX = int((210 - 2 * 13) / 25.4 * 96)
"""A4 (ISO 216) without the page's margins of 13 mm; CSS has 96 pixels an inch."""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One page of each kind, from invented cases."""
    folder = tmp_path_factory.mktemp("pages")
    lines = list(read(max(home().glob("*.log"), key=lambda log: log.stat().st_size)).lines)
    scored = case_page(
        examine(lines), "invented.log", Doublet(points=(2, 2, 1), reviewer="trainer")
    )
    (folder / "review.html").write_text(scored, encoding="utf-8")
    damaged = case_page(examine([*lines[:90], *lines[91:]]), "invented.log")
    (folder / "damaged.html").write_text(damaged, encoding="utf-8")
    labels = ["case,level"]
    for number in range(12):
        case = Invention(seed=number, day=number)
        (folder / f"{number}.log").write_bytes(b"".join(line + b"\n" for line in case.live()))
        labels.append(f"invented-{number},{LEVELS[number % 2]}")
    (folder / "labels.csv").write_text("\n".join(labels), encoding="utf-8")
    (folder / "broken.log").write_bytes(b"no log\n")
    summary = summarise(collect(folder, folder / "out", folder / "labels.csv"))
    (folder / "cases.html").write_text(cases_page(summary, "invented"), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def context() -> Iterator[BrowserContext]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser.new_context(bypass_csp=True)  # axe-core is a script
        browser.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    opened = context.new_page()
    yield opened
    opened.close()


@pytest.mark.parametrize("name", NAMES)
def test_a_page_loads_nothing_but_itself(pages: Path, page: Page, name: str) -> None:
    requested: list[str] = []
    messages: list[str] = []
    page.on("request", lambda request: requested.append(request.url))
    page.on("console", lambda message: messages.append(message.text))
    page.goto((pages / f"{name}.html").as_uri(), wait_until="networkidle")
    assert requested == [(pages / f"{name}.html").as_uri()]
    assert messages == []


@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_accessible(pages: Path, page: Page, name: str) -> None:
    page.goto((pages / f"{name}.html").as_uri())
    assert violations(page) == []


@pytest.mark.parametrize("name", NAMES)
def test_a_page_fits_a_narrow_screen(pages: Path, page: Page, name: str) -> None:
    page.set_viewport_size({"width": 400, "height": 800})
    page.goto((pages / f"{name}.html").as_uri())
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 400, "wide tables scroll in their own box"


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_wider_than_the_paper(pages: Path, page: Page, name: str) -> None:
    page.set_viewport_size({"width": PAPER_PX, "height": 1000})
    page.emulate_media(media="print")
    page.goto((pages / f"{name}.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= PAPER_PX


@pytest.mark.parametrize("name", NAMES)
def test_a_page_prints_on_a4(pages: Path, page: Page, name: str) -> None:
    page.goto((pages / f"{name}.html").as_uri())
    printed = page.pdf(prefer_css_page_size=True)
    boxes = {
        (round(float(width)), round(float(height)))
        for width, height in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    }
    assert boxes == {(595, 842)}  # ISO 216: 210 × 297 mm in points


# ---------------------------------------------------------------------------- the review on paper

FIRST_SHEET = (
    "clip or division first called for",
    "When a clip or division was first called for",
    "Timeline",
    "since the record was opened, in minutes and seconds",
    "Bytes and story hold.",
    "long code, against forgery",
)


FOOT = "Local protocol and licensed judgement come first. "


def sheets(page: Page, text: str, at: Path) -> list[str]:
    """The text of each printed sheet, as pypdf reads it: its foot first; ligatures as letters."""
    (at / "review.html").write_text(text, encoding="utf-8")
    page.goto((at / "review.html").as_uri())
    printed = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    texts = (normalize("NFKC", sheet.extract_text()) for sheet in printed.pages)
    return [" ".join(text.split()) for text in texts]


@pytest.mark.parametrize("number", range(0, 40, 5))
def test_the_first_sheet_of_a_review_tells_the_most_important_and_the_rest_is_behind_it(
    page: Page, tmp_path: Path, number: int
) -> None:
    found = sheets(page, case_page(examine(invent(number)), "invented.log"), tmp_path)
    assert all(told in found[0] for told in FIRST_SHEET)
    assert found[1].partition(FOOT)[2].startswith("Every call for a clip or division")


def test_each_sheet_bears_its_number_the_case_and_the_cautions(page: Page, tmp_path: Path) -> None:
    found = sheets(page, case_page(examine(invent(3)), "invented.log"), tmp_path)
    assert len(found) > 5
    for number, text in enumerate(found, 1):
        assert f"page {number} of {len(found)}" in text
        assert "Case record invented-3 · Not a medical device. Research and training only." in text
        assert FOOT in text


def test_a_damaged_log_or_a_rehearsal_is_named_on_each_sheet(page: Page, tmp_path: Path) -> None:
    lines = invent(3)
    found = sheets(page, case_page(examine([*lines[:90], *lines[91:]]), "a.log"), tmp_path)
    assert all("Case record invented-3, NOT INTACT · " in text for text in found)


def test_the_header_of_a_table_stays_with_its_rows(page: Page, tmp_path: Path) -> None:
    """On each sheet of the longest table; and no sheet ends with a header or a heading."""
    found = sheets(page, case_page(examine(invent(7)), "invented.log"), tmp_path)
    first = next(place for place, text in enumerate(found) if "Line by line" in text)
    last = next(place for place, text in enumerate(found) if "How this record was made" in text)
    assert last - first > 2
    for text in found[first : last + (found[last].find("How this") > 200)]:
        assert "Line Time (UTC) Said Counts as Answered" in text
    for text in found:
        assert not text.endswith(
            ("Answered", " Line", "Ended by", "elapsed", "called for", "stood")
        )


@pytest.mark.parametrize(
    "name", ["</style><script>alert(1)</script>", '"; } body { display: none', "a\\b\n*/"]
)
def test_what_a_case_is_called_steers_no_page(page: Page, tmp_path: Path, name: str) -> None:
    tale = Story()
    first = tale.records[0]
    assert isinstance(first.fact, Opened)
    lines = resealed([replace(first, fact=replace(first.fact, case=name))])
    text = case_page(examine(lines), "a.log")
    assert "<script" not in text
    sheet = sheets(page, text, tmp_path)[0]
    assert "page 1 of" in sheet
    assert page.locator("h1").is_visible()
