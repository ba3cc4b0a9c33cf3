"""A whole served case by the keyboard alone, in Chromium: no voice, no mouse, no touch.

What must be possible is the customer's list: the issue "Screens and records that tell the truth at
a glance", under "Entry by hand".
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from shown import ACTS, BEFORE, CLOSING, CRITERIA, PAUSE
from theatre import Theatre, theatre

from voicecheck.core.inputs import Entered

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from playwright.sync_api import Page, expect, sync_playwright  # noqa: E402


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Theatre]:
    path = tmp_path / "quiet.wav"
    noise = np.random.default_rng(1).normal(0, 16, 16_000 * 600)
    soundfile.write(path, noise.astype(np.int16), 16_000)
    with theatre(tmp_path, "--audio", str(path), "--mute") as running:
        yield running


@pytest.fixture
def page() -> Iterator[Page]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser.new_page(viewport={"width": 1280, "height": 900})
        browser.close()


def typed(served: Theatre, page: Page, phrase: str) -> None:
    """Tab to the field, type the phrase, and Enter; the line is on disk."""
    lines = len(served.records)
    find = page.get_by_label("Find a phrase")
    while not find.evaluate("e => e === document.activeElement"):
        page.keyboard.press("Tab")
    page.keyboard.type(phrase.removeprefix("checklist "))
    page.keyboard.press("Enter")
    served.until(lambda: len(served.records) > lines, f"line for {phrase}")


def replied(served: Theatre, page: Page, key: str, fact: str) -> None:
    """Wait for the read-back and for long enough to read it; reply by one key."""
    lines = len(served.records)
    how = page.locator("#how-reply")
    expect(how).to_have_text("Enter confirms, Escape declines.", timeout=15_000)
    expect(page.locator("#wait")).to_have_text(re.compile(r"^\d+ s$"))
    page.wait_for_timeout(900)
    page.keyboard.press(key)
    served.until_fact(fact, after=lines)


def test_a_whole_case_by_the_keyboard_alone(served: Theatre, page: Page) -> None:
    page.goto(served.entry_address)
    expect(page.locator("#missing-title")).to_have_text("Outstanding before any clip: 10")
    for phrase in BEFORE:
        typed(served, page, phrase)
    typed(served, page, CRITERIA[0])
    replied(served, page, "Escape", "Retracted")
    for phrase in CRITERIA[::2]:
        typed(served, page, phrase)
        replied(served, page, "Enter", "Stated")
    expect(page.locator("#missing-title")).to_have_text("Outstanding before any clip: 1")

    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # the second fixed key: bleeding
    served.until_fact("Occurred")
    expect(page.locator("#missing-names")).to_contain_text("(lapsed: bleeding ")
    for phrase in CRITERIA[::2]:
        typed(served, page, phrase)
        replied(served, page, "Enter", "Stated")
    typed(served, page, PAUSE[0])
    replied(served, page, "Enter", "Stated")
    for phrase in ACTS[::2]:
        typed(served, page, phrase)
        replied(served, page, "Enter", "Stated")
    for phrase in CLOSING:
        typed(served, page, phrase)
    expect(page.locator("#missing")).to_be_hidden()
    replied(served, page, "Enter", "Closed")
    expect(page.locator("#asked")).to_contain_text("Record closed. Checkpoint: ")

    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#problem")).to_have_text("Not entered: the record is closed.")
    assert served.end() == 0
    page.wait_for_timeout(900)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#problem")).to_have_text("Not entered: the record is closed.")
    causes = [record.cause for record in served.records if record.cause is not None]
    assert sum(isinstance(cause, Entered) for cause in causes) == 36
