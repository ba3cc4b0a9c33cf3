"""The pages after a case, in a real browser: they load nothing, are easy to read, and print well.

axe-core judges accessibility against WCAG 2.2, up to AAA.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from golden_make import home
from invented import LEVELS, Invention

from voicecheck.cases.aggregates import summarise
from voicecheck.cases.collection import collect
from voicecheck.cases.overview import cases_page
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
