"""The page beside the film, in a real browser, with a film whose every frame shows its number."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import films
import pytest
from click.testing import CliRunner
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story

from voicecheck.cli_records import review_command

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from looks import violations  # noqa: E402
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"]
STARTS_S = 2.5
"""The film starts so long after the record was opened."""
NEAR_S = 0.2
"""How far a jump may land from where it should."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What `review --film` makes, beside a log and a film of 40 seconds."""
    place = tmp_path_factory.mktemp("film")
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist clips on the artery")
    tale.say("checklist view is lost", *THREE_CRITERIA, "checklist emergency")
    (place / "a.log").write_bytes(b"".join(line + b"\n" for line in tale.lines()))
    films.make(place / "theatre 2.webm", 40)
    ran = CliRunner().invoke(
        review_command,
        [
            *(str(place / "a.log"), "--film", str(place / "theatre 2.webm")),
            *("--align", "line 4=0:00:00.5"),
        ],
    )
    assert ran.exit_code == 0, ran.output
    return place / "a-film"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Browser, folder: Path) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": 1366, "height": 1000})
    opened.goto((folder / "film.html").as_uri())
    until(opened, "document.querySelector('video').readyState >= 3")
    yield opened
    opened.close()


def until(page: Page, holds: str) -> None:
    """Wait until an expression is true; the page's rules forbid the browser to do it itself."""
    for _ in range(300):
        if page.evaluate(holds):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"never: {holds}")


def words_at(log: Path) -> dict[int, tuple[float, str, str]]:
    """Line → when its words began in the film, the kind of its fact, its words; from plain JSON.

    Line 4 begins 0.5 s into the film.
    """
    lines = [json.loads(line) for line in log.read_bytes().splitlines()]
    began = {}
    for line in lines:
        cause = line["cause"] or {}
        lasted_s = cause.get("audio_to_s", 0.0) - cause.get("audio_from_s", 0.0)
        since_s = (line["at"]["mono_us"] - lines[0]["at"]["mono_us"]) / 1e6 - lasted_s
        began[line["seq"]] = (since_s, line["fact"]["type"], cause.get("text", ""))
    zero_s = began[4][0] - 0.5
    return {number: (at_s - zero_s, kind, text) for number, (at_s, kind, text) in began.items()}


def shown_s(page: Page) -> float:
    """The time that the frame on the screen bears."""
    until(page, "!document.querySelector('video').seeking")
    page.evaluate("document.querySelector('video').controls = false")
    page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return films.number_in(page.locator("video").screenshot()) / films.FRAMES_A_S


@pytest.mark.parametrize(
    ("lane", "kind"),
    [
        ("stated", "Stated"),
        ("refused", "Refused"),
        ("lapsed", "Occurred"),
        ("course", "Overridden"),
    ],
)
def test_a_click_in_the_timeline_jumps_to_its_words(
    page: Page, folder: Path, lane: str, kind: str, counted: list[str]
) -> None:
    number, (at_s, _, text) = next(
        (number, told)
        for number, told in reversed(words_at(folder.parent / "a.log").items())
        if told[1] == kind
    )
    page.locator(f'.lane i.{lane}[data-line="{number}"]').click(force=True)
    landed_s = shown_s(page)
    assert landed_s == pytest.approx(at_s, abs=NEAR_S)
    assert page.evaluate("document.querySelector('video').currentTime") == pytest.approx(
        at_s, abs=NEAR_S
    )
    assert page.locator("#said").text_content() == text
    assert page.locator("tr[aria-current]").get_attribute("data-line") == str(number)
    counted.append(f"{lane}: a jump to {at_s:.2f} s of the film lands at {landed_s:.2f} s")


def test_a_line_of_the_list_jumps_by_keyboard_alone(page: Page, folder: Path) -> None:
    at_s, _, text = words_at(folder.parent / "a.log")[9]
    page.locator('tr[data-line="9"] button').focus()
    page.keyboard.press("Enter")
    assert shown_s(page) == pytest.approx(at_s, abs=NEAR_S)
    assert page.locator("#said").text_content() == text


def test_a_click_between_two_marks_jumps_to_that_place(page: Page) -> None:
    lane = page.locator(".lane").nth(3)
    lane.scroll_into_view_if_needed()
    box = lane.bounding_box()
    assert box is not None
    length_s = float(page.locator("#lanes").get_attribute("data-length") or 0)
    page.mouse.click(box["x"] + 0.9 * box["width"], box["y"] + box["height"] / 2)
    assert shown_s(page) == pytest.approx(0.9 * length_s, abs=NEAR_S)


def test_while_the_film_plays_the_line_in_force_goes_with_it(page: Page, folder: Path) -> None:
    lines = words_at(folder.parent / "a.log")
    page.locator('tr[data-line="6"] button').click()
    page.evaluate("document.querySelector('video').play()")
    until(page, "document.querySelector('video').currentTime > 5.2")
    page.evaluate("document.querySelector('video').pause()")
    page.wait_for_timeout(400)
    now_s = page.evaluate("document.querySelector('video').currentTime")
    expected = max((told for told in lines.values() if told[0] <= now_s), key=lambda told: told[0])
    assert page.locator("#said").text_content() == expected[2]


def test_the_words_can_be_shown_in_the_film(page: Page) -> None:
    page.locator("#subtitles").check()
    modes = page.evaluate("[...document.querySelector('video').textTracks].map(t => t.mode)")
    assert modes == ["showing"]
    cues = page.evaluate("document.querySelector('video').textTracks[0].cues.length")
    assert cues == page.locator("tbody tr[data-at]").count()
    page.locator("#subtitles").uncheck()


def test_the_page_loads_only_itself_and_the_film_and_is_accessible(
    browser: Browser, folder: Path
) -> None:
    page = browser.new_page(bypass_csp=True, viewport={"width": 1366, "height": 1000})
    requested: list[str] = []
    messages: list[str] = []
    page.on("request", lambda request: requested.append(request.url))
    page.on("console", lambda message: messages.append(message.text))
    page.goto((folder / "film.html").as_uri(), wait_until="load")
    film = (folder.parent / "theatre 2.webm").as_uri()
    assert set(requested) == {(folder / "film.html").as_uri(), film}
    assert messages == []
    assert violations(page) == []
    page.close()


def test_a_film_that_is_gone_is_told(browser: Browser, folder: Path, tmp_path: Path) -> None:
    away = tmp_path / "elsewhere"
    shutil.copytree(folder, away)
    page = browser.new_page()
    page.goto((away / "film.html").as_uri())
    page.wait_for_selector("#missing:not([hidden])", timeout=5_000)
    page.close()
