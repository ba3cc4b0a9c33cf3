"""Every state of the display on five screens: whole, large, in contrast, and where it was before.

What must be so is the customer's list: the issue "Screens and records that tell the truth at a
glance", under "The prompt display". Sizes: ISO 9241-303, capitals of 20 minutes of arc, never less
than 16, from memory. Contrast: WCAG 2.2, 1.4.6 (7:1) and 1.4.11 (3:1).
"""

from __future__ import annotations

import itertools
import math
import os
import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from states import ALL, SIZES, view_of
from stories import shipped

from voicecheck.display.entries import Entries
from voicecheck.display.keys import keys
from voicecheck.display.screen import Barrier, Mark, View
from voicecheck.display.server import Display

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from looks import KINDS_OF_SIGHT, apart, contrast, texts, violations  # noqa: E402
from playwright.sync_api import Browser, Page, expect, sync_playwright  # noqa: E402

TOKEN = "an-invented-token-0123"  # noqa: S105
PARTS = (
    ".gate svg, #gate-word, .hearing svg, .clock, .asked, #asked-text, .last, .kept, .board, "
    ".board li, .board li svg, footer"
)
"""What must stay where it is, whatever the case comes to."""

PLACES = """selector => [...document.querySelectorAll(selector)].map((e) => {
  const box = e.getBoundingClientRect();
  return [e.id || e.tagName, Math.round(box.left), Math.round(box.top)];
})"""

PIXEL_MM = {
    name: 24 * 25.4 / math.hypot(width, 1080 if name == "window" else height)
    for name, (width, height) in SIZES.items()
}
"""Millimetres in a pixel if the screen has 24 inches; a window is on one of 1920 × 1080."""

LEAST = {"laptop": 20.0, "full-hd": 20.0, "4k": 20.0, "window": 17.0, "upright": 19.0}
"""Minutes of arc at 3 m. A window that is not full screen asks for full screen, and an upright
screen is narrower than the words need; still more than the 16 that the standard wants at least."""


LEAST_NEAR, LEAST_IN_TROUBLE = 15.9, 13.0
"""Minutes of arc at 1 m, of notes: the caution, the case, UTC, the exact words that were heard.
What a failing part reports is long; whoever repairs it goes nearer."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()


@pytest.fixture(scope="module")
def display() -> Iterator[Display]:
    served = Display(port=0, token=TOKEN, keys=keys(shipped()), entries=Entries())
    served.start()
    with closing(served):
        yield served


@pytest.fixture(scope="module")
def screens(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the screenshots go: VOICECHECK_SCREENS, or a folder of pytest's."""
    given = os.environ.get("VOICECHECK_SCREENS")
    folder = Path(given) if given else tmp_path_factory.mktemp("screens")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="module", params=SIZES)
def screen(
    browser: Browser, display: Display, request: pytest.FixtureRequest
) -> Iterator[tuple[str, Page]]:
    """The display on one of the screens, in a zone that is not UTC."""
    width, height = SIZES[request.param]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        screen={"width": width, "height": 1080 if request.param == "window" else height},
        timezone_id="Asia/Kolkata",
    )
    page = context.new_page()
    page.goto(display.addresses[0])
    page.evaluate("document.fonts.ready.then(() => true)")
    yield request.param, page
    context.close()


def show(display: Display, page: Page, name: str) -> View:
    shown = view_of(name)
    display.beat()
    display.show(shown)
    expect(page.locator("#asked-text")).to_have_text(shown.asked.text)
    expect(page.locator("#gate-word")).to_have_text(shown.gate.word)
    expect(page.locator("#stale")).to_be_hidden()
    return shown


def test_every_state_is_whole_large_enough_in_contrast_and_in_its_place(
    display: Display, screen: tuple[str, Page], screens: Path, counted: list[str]
) -> None:
    size, page = screen
    smallest, places, weakest = 99.0, dict[str, Any](), 99.0
    for name in ALL:
        shown = show(display, page, name)
        page.screenshot(path=screens / f"{size}_{name}.png")
        beside = set(page.locator(".beside").all_inner_texts())
        for text in texts(page):
            _is_whole(name, text)
            weakest = min(weakest, contrast(text["color"], text["ground"]))
            assert contrast(text["color"], text["ground"]) >= 7, (name, text)
            mm = text["capital"] * PIXEL_MM[size]
            far, near = (math.degrees(math.atan(mm / away)) * 60 for away in (3000, 1000))
            if text["within"] == "near" or text["text"] in beside:
                least = LEAST_IN_TROUBLE if shown.machine.messages else LEAST_NEAR
                assert near >= least or size in ("window", "upright"), (name, near, text["text"])
            elif shown.gate.barrier is Barrier.STOPPED and text["text"] == shown.asked.say_label:
                assert near >= 2 * LEAST_NEAR, "why the log failed is long, but larger than a note"
            else:
                assert far >= LEAST[size], (name, round(far, 1), text["text"])
                smallest = min(smallest, far)
        _all_is_there(name, shown, page)
        now = page.evaluate(PLACES, PARTS)
        assert places.setdefault(shown.title, now) == now, f"{name}: something has moved"
    counted.append(
        f"display, {size}: {len(ALL)} states, capitals of at least {smallest:.1f}' at 3 m, "
        f"contrast at least {weakest:.1f}:1, nothing moved"
    )


def _is_whole(name: str, text: dict[str, Any]) -> None:
    """The ink of its letters; a line's box begins a whole size above the baseline, and ends 0.2
    below it, the face's capitals 0.70 and its tails 0.22."""
    left, top, right, bottom = text["clip"]
    above, below = 0.3 * text["size"], 0.02 * text["size"]
    for box in text["boxes"]:
        assert box[0] >= left - 1, (name, text)
        assert box[2] <= right + 1, (name, text)
        assert box[1] + above >= top - 1, (name, text)
        assert box[3] + below <= bottom + 1, (name, text)
    assert text["opacity"] == 1, (name, text)


def _all_is_there(name: str, shown: View, page: Page) -> None:
    """The question, all that may be said to it, all items with their marks, answer and caution."""
    assert tuple(page.locator("#say q").all_inner_texts()) == shown.asked.say, name
    lines = [line for phase in shown.phases for line in phase.lines]
    cells = page.locator(".board li")
    assert cells.count() == len(lines), name
    drawn = page.locator(".board li use").evaluate_all(
        "all => all.map(e => e.getAttribute('href'))"
    )
    assert drawn == [f"#mark-{line.mark}" for line in lines], name
    labels = page.locator(".board li > span:not(.unseen)").all_inner_texts()
    assert labels == [line.label for line in lines], name
    said = " ".join(page.locator("body").inner_text().split())
    for words in (shown.caution, shown.machine.word, shown.rehearsal, *shown.machine.messages):
        assert words in said or shown.gate.barrier is Barrier.STOPPED, (name, words)
    if shown.answer:
        assert shown.answer.text in said, name
    kept = page.locator(".kept > span:not(.more)").count()
    left = page.locator(".kept .more")
    assert kept + (int(left.inner_text()) if left.count() else 0) == len(shown.kept), name
    assert kept or not shown.kept, name


def test_the_more_urgent_the_brighter_and_closed_and_open_differ_in_grey(
    display: Display, browser: Browser
) -> None:
    page = browser.new_page(viewport={"width": 1920, "height": 1080})
    page.goto(display.addresses[0])
    page.evaluate("document.fonts.ready.then(() => true)")
    bars, letters = dict[Barrier, str](), dict[Barrier, float]()
    for name in ALL:
        barrier = show(display, page, name).gate.barrier
        bars[barrier] = page.locator("header").evaluate("e => getComputedStyle(e).backgroundColor")
        largest = max(text["size"] for text in texts(page) if not text["text"].endswith(" s"))
        letters[barrier] = max(letters.get(barrier, 0), 0 if name in PAUSES else largest)
    assert set(bars) == set(Barrier)
    ground = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert contrast(bars[Barrier.CLOSED], bars[Barrier.OPEN]) >= 3
    for sight, one, other in itertools.product(KINDS_OF_SIGHT, TOLD_APART, TOLD_APART):
        assert one is other or apart(bars[one], bars[other], sight) > 20, (sight, one, other)
    urgent = {Barrier.EMERGENCY, Barrier.BAILED_OUT}
    bright = {barrier: contrast(bar, ground) for barrier, bar in bars.items()}
    assert min(bright[each] for each in urgent) > 1.3 * max(
        value for barrier, value in bright.items() if barrier not in urgent
    )
    assert min(letters[each] for each in urgent) > max(
        value for barrier, value in letters.items() if barrier not in urgent
    )
    page.close()


TOLD_APART = (
    Barrier.CLOSED,
    Barrier.OPEN,
    Barrier.STANDING_BY,
    Barrier.BAILED_OUT,
    Barrier.EMERGENCY,
    Barrier.STOPPED,
)
"""By colour too, with every common kind of colour blindness; all have shapes and words besides."""

PAUSES = ("pausing", "pausing_while_deaf")
"""Nothing but the call to hold still is as large as an emergency."""


def test_each_mark_and_each_gate_has_its_own_shape(display: Display, browser: Browser) -> None:
    page = browser.new_page()
    page.goto(display.addresses[0])
    shapes = page.evaluate("""() => Object.fromEntries([...document.querySelectorAll("symbol")]
      .map((e) => [e.id, e.innerHTML]))""")
    wanted = {f"mark-{mark}" for mark in Mark} | {f"barrier-{barrier}" for barrier in Barrier}
    assert wanted <= set(shapes)
    assert len(set(shapes.values())) == len(shapes), "one mark, one meaning"
    page.close()


@pytest.mark.parametrize("name", ALL)
def test_axe_finds_nothing(display: Display, axe_page: Page, name: str) -> None:
    show(display, axe_page, name)
    assert violations(axe_page) == []


@pytest.fixture(scope="module")
def axe_page(browser: Browser, display: Display) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1920, "height": 1080}, bypass_csp=True)
    page = context.new_page()
    page.goto(display.addresses[0])
    yield page
    context.close()


def test_local_time_and_its_zone_stand_beside_utc(
    display: Display, screen: tuple[str, Page]
) -> None:
    """India is five and a half hours ahead of UTC all year (IANA time zone database)."""
    _, page = screen
    shown = show(display, page, "bleeding")
    utc = shown.at_utc[11:16]
    minutes = (int(utc[:2]) * 60 + int(utc[3:]) + 330) % 1440
    local = f"{minutes // 60:02}:{minutes % 60:02}"
    expect(page.locator("#local")).to_have_text(local)
    expect(page.locator("#utc")).to_have_text(f"{utc} UTC")
    expect(page.locator("#zone")).to_have_text("GMT+5:30")
    expect(page.locator(".kept .fell")).to_contain_text(f"lapsed: bleeding {local}")


def test_a_window_asks_for_the_full_screen_and_for_no_sleep_in_plain_words(
    display: Display, browser: Browser
) -> None:
    for width, height, locked, hint in (
        (1920, 937, False, "Press F11: full screen. Keep this screen from sleeping: its settings."),
        (1920, 1080, False, "Keep this screen from sleeping: its settings."),
        (1920, 1080, True, ""),
    ):
        context = browser.new_context(
            viewport={"width": width, "height": height}, screen={"width": 1920, "height": 1080}
        )
        granted = "Promise.resolve(new EventTarget())" if locked else "Promise.reject(new Error())"
        context.add_init_script(
            "Object.defineProperty(navigator, 'wakeLock', "
            f"{{ value: {{ request: () => {granted} }} }});"
        )
        page = context.new_page()
        page.goto(display.addresses[0])
        show(display, page, "gate_open")
        expect(page.locator("#hint")).to_have_text(hint)
        context.close()


def test_after_the_end_the_page_stays_calm_when_the_program_is_gone(browser: Browser) -> None:
    served = Display(port=0, token=TOKEN, keys=(), entries=Entries())
    served.start()
    page = browser.new_page(viewport={"width": 1920, "height": 1080})
    page.goto(served.addresses[0])
    shown = show(served, page, "closed_with_checkpoint")
    served.close()
    page.wait_for_timeout(5000)
    assert page.locator("#stale").is_hidden()
    expect(page.locator("#asked-text")).to_have_text(shown.asked.text)
    expect(page.locator("#say-label")).to_have_text("Nothing left unstated.")
    page.close()
