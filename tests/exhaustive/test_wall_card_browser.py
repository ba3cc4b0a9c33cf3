"""The wall card as it prints: one sheet of its size, all of it on the sheet, in large letters."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader
from stories import COMMON_TEXT, GRAMMARS

from voicecheck.core.conduct import CURRENT
from voicecheck.wall_card import SIZES, wall_card

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from looks import violations  # noqa: E402
from playwright.sync_api import Page, sync_playwright  # noqa: E402

FILES = [
    GRAMMARS / "laparoscopic_cholecystectomy.toml",
    Path(__file__).parents[1] / "procedures" / "scaffold.toml",
]
SHEET_MM = {"A4": (297, 210), "A3": (420, 297)}
"""ISO 216."""
LEAST_PT = {"A4": 12, "A3": 17}
"""What is read from an arm's length needs 12 points (common practice, no source); √2 for A3."""
OUTSIDE = """() => {
  const inside = (e, box) => { const r = e.getBoundingClientRect(); return r.left >= box.left - 1
    && r.right <= box.right + 1 && r.top >= box.top - 1 && r.bottom <= box.bottom + 1; };
  const main = document.querySelector("main").getBoundingClientRect();
  const found = [];
  for (const [inner, outer] of [["li, h1, h2, p", "main"], [".course li", ".course"],
                                [".urgent li", ".urgent"]]) {
    const box = document.querySelector(outer).getBoundingClientRect();
    for (const e of document.querySelectorAll(inner))
      if (!inside(e, box) || e.scrollWidth > e.clientWidth + 1) found.push(e.textContent);
  }
  const foot = document.querySelector("footer").getBoundingClientRect();
  if (document.querySelector(".sheet").getBoundingClientRect().bottom > foot.top + 1)
    found.push("the sheet runs into its foot");
  return found;
}"""


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser.new_page(bypass_csp=True, viewport={"width": 1600, "height": 1200})
        browser.close()


@pytest.mark.parametrize("file", FILES, ids=lambda path: path.stem)
@pytest.mark.parametrize("size", SIZES)
def test_a_card_is_one_sheet_of_large_letters_with_nothing_cut(
    page: Page, file: Path, size: str, counted: list[str]
) -> None:
    procedure = CURRENT.parse(file.read_text(encoding="utf-8"), COMMON_TEXT, "a procedure")
    page.set_content(wall_card(procedure, size))
    printed = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(printed.pages) == 1
    box = printed.pages[0].mediabox
    found_mm = tuple(round(float(side) / 72 * 25.4) for side in (box.width, box.height))
    assert found_mm == SHEET_MM[size]
    assert page.evaluate(OUTSIDE) == []
    letters = page.evaluate("parseFloat(getComputedStyle(document.querySelector('li')).fontSize)")
    assert letters * 0.75 >= LEAST_PT[size]  # CSS: 96 pixels are 72 points
    assert violations(page) == []
    counted.append(f"{file.stem} on {size}: letters of {letters * 0.75:.1f} points")
