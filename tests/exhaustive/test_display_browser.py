"""The pages in a real browser: each state of a case, its sizes and contrast, and what goes wrong.

The state of each page is compared with a real case. Sizes: ISO 9241-303, capitals of 20 minutes of
arc and never less than 16, from memory. Contrast: WCAG 2.2, success criterion 1.4.6 (AAA), 7:1,
worked out here from the definition of relative luminance, and again by axe-core.
"""

from __future__ import annotations

import itertools
import os
import re
import shutil
import statistics
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from cable import Cable
from recorder import Recorded, recording
from shown import ALL, STORIES, view_of
from stories import Story, shipped

from voicecheck.core.inputs import Entered
from voicecheck.core.wording import CAUTION
from voicecheck.display.entries import STOPPED, Entries
from voicecheck.display.keys import keys
from voicecheck.display.screen import Asking, Barrier, View
from voicecheck.display.server import Display
from voicecheck.display.view import view

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from looks import (  # noqa: E402
    FAR_MM,
    KINDS_OF_SIGHT,
    NEAR_MM,
    apart,
    contrast,
    minutes_of_arc,
    texts,
    violations,
)
from playwright.sync_api import Browser, Page, expect, sync_playwright  # noqa: E402

FLAGS = [
    "--no-sandbox",  # Chromium refuses its sandbox to root, whom CI runs as
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
TOKEN = "a+b/c&d#e%f=g?h;i~0"  # noqa: S105  # every sign that an address would mistake
STILL = "The machine stands still. Nothing is heard."


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@contextmanager
def serving(port: int = 0) -> Iterator[tuple[Display, Recorded]]:
    """A display, and what is entered at it."""
    entries = Entries()
    served = Display(port=port, token=TOKEN, keys=keys(shipped()), entries=entries)
    served.start()
    with closing(served), recording(served, entries) as recorded:
        yield served, recorded


@pytest.fixture(scope="module")
def served() -> Iterator[tuple[Display, Recorded]]:
    with serving() as both:
        yield both


@pytest.fixture(scope="module")
def display(served: tuple[Display, Recorded]) -> Display:
    return served[0]


@pytest.fixture(scope="module")
def entered(served: tuple[Display, Recorded]) -> Recorded:
    return served[1]


@pytest.fixture(scope="module")
def page(browser: Browser, display: Display) -> Iterator[Page]:
    """The prompt display on the theatre's screen."""
    yield from _opened(browser, display.addresses[0])


@pytest.fixture(scope="module")
def entry(browser: Browser, display: Display) -> Iterator[Page]:
    """The page for entry on a tablet held across."""
    yield from _opened(browser, display.entry_addresses[0], width=1280, height=900)


def _opened(browser: Browser, url: str, width: int = 1920, height: int = 1080) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": width, "height": height})
    complaints: list[str] = []
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("console", lambda said: complaints.append(said.text))
    opened.goto(url)
    opened.evaluate("document.fonts.ready.then(() => true)")
    yield opened
    opened.close()
    assert complaints == [], "the page's script and policy have nothing to complain of"


@pytest.fixture(scope="module")
def screens(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the screenshots go: VOICECHECK_SCREENS, or a folder of pytest's."""
    given = os.environ.get("VOICECHECK_SCREENS")
    folder = Path(given) if given else tmp_path_factory.mktemp("screens")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def show(display: Display, page: Page, shown: View) -> None:
    """Show a view and wait until the page says what it says, and is live."""
    display.show(shown)
    expect(page.locator("#asked-text")).to_have_text(shown.asked.text)
    expect(page.locator("#gate-sentence")).to_have_text(shown.gate.sentence)
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    expect(page.locator("#stale")).to_be_hidden()


# ------------------------------------------------------------------------------ what is shown


@pytest.mark.parametrize("name", ALL)
def test_every_state_is_all_on_one_screen_legible_and_in_strong_contrast(
    display: Display, page: Page, screens: Path, name: str
) -> None:
    shown = view_of(name)
    show(display, page, shown)
    page.screenshot(path=screens / f"{name}.png")
    for text in texts(page):
        left, top, right, bottom = text["clip"]
        slack = 0.12 * text["size"]  # a line's box is higher than its letters
        for box in text["boxes"]:
            assert box[0] >= left - 1, text
            assert box[2] <= right + 1, text
            assert box[1] >= top - slack, text
            assert box[3] <= bottom + slack, text
        assert text["opacity"] == 1, text
        assert contrast(text["color"], text["ground"]) >= 7, text
    said = " ".join(page.locator("body").inner_text().split()).casefold()
    for words in (shown.asked.text, shown.gate.word, shown.machine.word, CAUTION):
        assert words.casefold() in said
    for stage in shown.phases:
        assert stage.title.casefold() in said


def test_the_letters_are_as_large_as_the_standard_asks_at_three_metres(
    display: Display, page: Page, counted: list[str]
) -> None:
    smallest = {"far": 999.0, "mid": 999.0, "near": 999.0}
    for name in ALL:
        show(display, page, view_of(name))
        gave_way = page.locator(".asked.long :is(h1, .wait)").all_inner_texts()
        assert not gave_way or view_of(name).machine.messages, "only trouble takes that much room"
        for text in texts(page):
            assert "Barlow" in text["family"]
            within = "mid" if text["text"] in gave_way else text["within"]
            size = minutes_of_arc(text["capital"], NEAR_MM if within == "near" else FAR_MM)
            smallest[within] = min(smallest[within], size)
    assert page.evaluate("document.fonts.check('92px \"Barlow Semi Condensed\"')")
    assert smallest["far"] >= 20
    assert smallest["mid"] >= 16
    assert smallest["near"] >= 20
    counted.append(
        "capitals on a 24-inch screen: "
        f"{smallest['far']:.1f}' and {smallest['mid']:.1f}' at 3 m, {smallest['near']:.1f}' at 1 m"
    )


def test_each_gate_has_its_own_word_shape_and_colour(display: Display, page: Page) -> None:
    looks: dict[Barrier, tuple[str, str | None, str]] = {}
    for name in ALL:
        shown = view_of(name)
        show(display, page, shown)
        look = (
            page.locator(".gate strong").inner_text(),
            page.locator(".gate use").get_attribute("href"),
            page.locator(".gate").evaluate("e => getComputedStyle(e).backgroundColor"),
        )
        assert looks.setdefault(shown.gate.barrier, look) == look
        box = page.locator(".gate").bounding_box()
        assert box is not None
        before = page.locator("#before li").last.bounding_box()
        after = page.locator("#after li").first.bounding_box()
        assert before is not None
        assert after is not None
        assert before["y"] < box["y"] < after["y"], "the gate lies across the course"
    assert set(looks) == set(Barrier)
    assert len({look[0] for look in looks.values()}) == len(Barrier)
    assert len({look[1] for look in looks.values()}) == len(Barrier)
    colours = {look[2] for look in looks.values()}
    assert len(colours) == len(Barrier) - 1, "only an emergency and a failed log share theirs"
    for sight in KINDS_OF_SIGHT:
        for one, other in itertools.combinations(colours, 2):
            assert apart(one, other, sight) > 20, (sight, one, other)


def test_what_stands_and_since_when_is_on_the_course(display: Display, page: Page) -> None:
    shown = view_of("refused")
    show(display, page, shown)
    rows = page.locator(".course li")
    assert rows.count() == len(shown.phases)
    for row, stage in zip(rows.all(), shown.phases, strict=True):
        drawn = [use.get_attribute("href") for use in row.locator(".marks use").all()]
        if all(line.since_utc for line in stage.lines):
            assert max(line.since_utc for line in stage.lines)[11:16] in row.inner_text()
        else:
            assert drawn == [f"#mark-{line.mark}" for line in stage.lines]
    expect(page.locator(".heard q")).to_have_text("clips on the artery")
    expect(page.locator("#heard-taken")).to_have_text("refused: 3 not yet stated")
    expect(page.locator("#names")).to_contain_text("lower third off the plate")


def test_what_may_be_said_is_shown_beside_what_is_asked(display: Display, page: Page) -> None:
    for name in ("last_criterion", "safe_line", "read_back"):
        show(display, page, view_of(name))
        drawn = page.locator("#say q").all_inner_texts()
        assert tuple(drawn) == view_of(name).asked.say
        assert len(drawn) > 1
    show(display, page, view_of("emergency"))
    expect(page.locator("#say")).to_be_hidden()


LONG = (
    "The loudspeaker that the system uses by default cannot be opened (Error querying device -1): "
    "plug one in, name another, or close the program that uses it."
)


def _questions() -> Iterator[View]:
    """Every question of the shipped procedure, in full wording."""
    story = Story()
    for said in STORIES["closed"]:
        now = view(story.case, story.records[-1], listening=True)
        if now.asked.kind is Asking.QUESTION:
            yield replace(now, caution=CAUTION)
        _ = story.wait() if said == "…" else story.say(str(said))


@pytest.mark.parametrize("troubles", [(), (LONG, LONG)])
def test_no_question_and_nothing_that_may_be_said_is_ever_cut(
    display: Display, page: Page, troubles: tuple[str, ...]
) -> None:
    """With "structures uncertain" cut away, the rest would be a nudge toward two."""
    alone = []
    for plain in _questions():
        shown = replace(plain, machine=replace(plain.machine, messages=troubles))
        show(display, page, shown)
        gate = page.locator(".gate").bounding_box()
        assert gate is not None
        drawn = page.locator("#asked-text, #say q, #names li:visible").all()
        assert len(drawn) > len(shown.asked.say)
        for part in drawn:
            box = part.bounding_box()
            assert box is not None
            # 0.1: a line's box is higher than its letters
            assert box["y"] + 0.9 * box["height"] <= gate["y"], (
                shown.asked.text,
                part.inner_text(),
            )
        assert troubles or page.locator(".asked.long").count() == 0, "only trouble takes that much"
        if not page.locator("#outstanding").is_visible():
            alone.append(shown.asked.say[-1])
            assert shown.gate.sentence.startswith(f"{len(shown.outstanding.names)} outstanding")
    assert alone == ["structures uncertain"], "beside every other question there is room for a name"


def test_a_refusal_gives_the_names_and_the_arrow_points_at_the_first(
    display: Display, page: Page
) -> None:
    show(display, page, view_of("refused_beyond_the_gate"))
    expect(page.locator("#asked-text")).to_have_text("Refused: duct divided.")
    expect(page.locator("#names li")).to_have_text(["duct clipped"])
    expect(page.locator("#names use").first).to_have_attribute("href", "#mark-now")
    show(display, page, view_of("refused_at_once"))
    assert page.locator("#names li").count() >= 4
    show(display, page, view_of("closing_early"))
    expect(page.locator("#names use").first).to_have_attribute("href", "#mark-open")


def test_every_trouble_is_told_whole_with_its_cure(display: Display, page: Page) -> None:
    for name in ("deaf_and_mute", "stopped"):
        show(display, page, view_of(name))
        expect(page.locator("#messages")).to_have_text(" ".join(view_of(name).machine.messages))
        expect(page.locator("#case")).to_have_text("Case invented-1")


def test_names_that_find_no_room_are_counted(display: Display, page: Page) -> None:
    ways = set()
    for name in ALL:
        names = view_of(name).outstanding.names
        show(display, page, view_of(name))
        drawn = page.locator("#names li").count()
        left = len(names) - drawn
        if names and not page.locator("#outstanding").is_visible():
            ways.add("none drawn")
            assert view_of(name).gate.sentence.startswith(f"{len(names)} outstanding")
        elif left:
            ways.add("some drawn")
            assert page.locator("#names .more").inner_text() == f"and {left} more"
        else:
            ways.add("all drawn")
            assert page.locator("#names .more").count() == 0
    assert ways == {"none drawn", "some drawn", "all drawn"}


def test_the_seconds_left_are_counted_down_and_elapsed_time_goes_on(
    display: Display, page: Page
) -> None:
    show(display, page, view_of("pausing"))
    expect(page.locator("#wait")).to_have_text(re.compile("[45] s"))
    expect(page.locator("#wait")).to_have_text(re.compile("[0-2] s"))
    late = view_of("gate_open")
    show(
        display,
        page,
        replace(late, opened_utc="2031-05-06T00:00:00.000Z", at_utc="2031-05-06T02:03:59.500Z"),
    )
    expect(page.locator("#elapsed")).to_have_text("2:03")
    expect(page.locator("#elapsed")).to_have_text("2:04", timeout=6000)


def test_nothing_moves_flashes_or_sounds(display: Display, page: Page) -> None:
    for name in ("read_back", "emergency", "deaf"):
        show(display, page, view_of(name))
        assert page.evaluate("document.getAnimations().length") == 0
        assert page.evaluate(
            "[...document.querySelectorAll('*')].every(e => getComputedStyle(e)"
            ".animationName === 'none' && getComputedStyle(e).transitionDuration === '0s')"
        )
    assert page.locator("audio, video, marquee, blink").count() == 0


def test_a_hostile_text_is_shown_as_text(display: Display, page: Page, entry: Page) -> None:
    nasty = '<img src=x onerror="document.title=1"><script>document.title=2</script>&amp;'
    plain = view_of("refused")
    heard = plain.heard
    assert heard is not None
    shown = replace(
        plain,
        title=nasty,
        case=nasty,
        caution=nasty,
        asked=replace(plain.asked, text=nasty),
        gate=replace(plain.gate, sentence=nasty),
        outstanding=replace(plain.outstanding, names=(nasty,)),
        heard=replace(heard, words=nasty, taken=nasty),
        phases=tuple(replace(stage, title=nasty) for stage in plain.phases),
    )
    show(display, page, shown)
    expect(entry.locator("#asked")).to_have_text(nasty)
    for opened in (page, entry):
        assert opened.locator("img").count() == 0
        assert opened.locator("body script").count() == 0
        assert opened.title().startswith("voicecheck")


def test_a_question_of_another_procedure_that_is_too_long_is_smaller_but_never_cut(
    display: Display, page: Page
) -> None:
    plain = view_of("first_criterion")
    long = "An invented question that goes on and on, " * 4
    shown = replace(plain, asked=replace(plain.asked, text=long.strip()))
    show(display, page, shown)
    box = page.locator("#asked").bounding_box()
    gate = page.locator(".gate").bounding_box()
    assert box is not None
    assert gate is not None
    assert box["y"] + box["height"] <= gate["y"]
    capital = page.locator("#asked").evaluate("e => parseFloat(getComputedStyle(e).fontSize) * 0.7")
    assert minutes_of_arc(capital, FAR_MM) >= 16


@pytest.mark.parametrize(("width", "height"), [(3840, 2160), (1366, 768), (1180, 820)])
def test_a_screen_of_another_resolution_shows_the_same_proportions(
    display: Display, page: Page, width: int, height: int
) -> None:
    show(display, page, view_of("refused"))
    try:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(100)
        scale = min(width / 1920, height / 1080)
        size = page.locator("#asked").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
        assert size == pytest.approx(92 * scale, rel=0.01)
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    finally:
        page.set_viewport_size({"width": 1920, "height": 1080})


def test_an_upright_tablet_shows_all_in_one_column(display: Display, page: Page) -> None:
    show(display, page, view_of("deaf_and_mute"))
    try:
        page.set_viewport_size({"width": 800, "height": 1200})
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        for text in texts(page):
            for box in text["boxes"]:
                assert box[0] >= 0
                assert box[2] <= 800
    finally:
        page.set_viewport_size({"width": 1920, "height": 1080})


# ------------------------------------------------------------------------------ accessibility


@pytest.mark.parametrize("name", ["opened", "read_back", "refused", "gate_open", "deaf", "closed"])
def test_axe_finds_nothing_on_the_prompt_display(display: Display, page: Page, name: str) -> None:
    show(display, page, view_of(name))
    assert violations(page) == []


@pytest.mark.parametrize("name", ["read_back", "refused", "deaf"])
def test_axe_finds_nothing_on_the_page_for_entry(
    display: Display, entry: Page, screens: Path, name: str
) -> None:
    display.show(view_of(name))
    expect(entry.locator("#asked")).to_have_text(view_of(name).asked.text)
    entry.screenshot(path=screens / f"entry_{name}.png", full_page=True)
    assert violations(entry) == []
    for text in texts(entry):
        assert contrast(text["color"], text["ground"]) >= 7, text


# -------------------------------------------------------------------------------------- entry


def test_a_touch_enters_the_phrase_of_its_key_once(
    display: Display, entry: Page, entered: Recorded
) -> None:
    shown = view_of("first_criterion")
    display.show(shown)
    expect(entry.locator("#now-title")).to_have_text("Three criteria")
    key = entry.locator("#now-keys button", has_text="triangle free of fat")
    key.dblclick()
    assert entered.get(timeout=2) == Entered(text="checklist triangle free of fat", line=shown.line)
    entry.get_by_role("button", name="Confirm").click()
    assert entered.get(timeout=2) == Entered(text="confirm", line=shown.line)
    assert entered.empty(), "a trembling finger enters once"
    for button in entry.locator("button:visible").all():
        box = button.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44, "WCAG 2.2, 2.5.5"


def test_the_keyboard_finds_a_phrase_by_the_beginnings_of_its_words(
    entry: Page, entered: Recorded
) -> None:
    find = entry.get_by_label("Find a phrase")
    find.fill("with")
    find.press("Enter")
    assert entry.locator("#groups button:visible").count() == len(shipped().items)
    find.fill("the tri")
    assert entry.locator("#groups button:visible").all_inner_texts() == ["withdraw the triangle"]
    find.press("Enter")
    assert entered.get(timeout=2).text == "checklist withdraw the triangle"
    assert entered.empty(), "with several left, Enter enters nothing"
    assert find.input_value() == ""
    find.fill("emer")
    find.press("ArrowDown")
    entry.keyboard.press("Enter")
    assert entered.get(timeout=2).text == "checklist emergency"
    find.press("Escape")
    assert entry.locator("#groups button:visible").count() > 50


# ----------------------------------------------------------------------------- what goes wrong


def test_the_page_says_that_it_is_stale_and_comes_back_by_itself(
    browser: Browser, screens: Path, counted: list[str]
) -> None:
    first = Display(port=0, token=TOKEN, keys=keys(shipped()), entries=Entries())
    first.start()
    page = browser.new_page(viewport={"width": 1920, "height": 1080})
    entry = browser.new_page()
    page.goto(first.addresses[0])
    entry.goto(first.entry_addresses[0])
    show(first, page, view_of("gate_open"))
    first.close()
    closed_s = time.monotonic()
    expect(page.locator("#stale")).to_be_visible(timeout=6000)
    stale_s = time.monotonic() - closed_s
    assert stale_s > 2, "not before three signs of life did not come"
    expect(page.locator("#stale")).to_have_text(re.compile(r"^Not live for \d+ s\. Do not rely"))
    expect(entry.locator("#stale")).to_be_visible()
    page.screenshot(path=screens / "stale.png")
    expect(page.locator("#gate-word")).to_have_text(view_of("gate_open").gate.word)
    for text in texts(page):
        assert contrast(text["color"], text["ground"]) >= 7, text
        assert text["opacity"] == 1
    banner = page.locator("#stale").evaluate("e => parseFloat(getComputedStyle(e).fontSize) * 0.7")
    assert minutes_of_arc(banner, FAR_MM) >= 20
    entry.get_by_role("button", name="Confirm").click()
    expect(entry.locator("#problem")).to_contain_text("No answer: look at the screen")

    with serving(first.port) as (again, entered):
        started_s = time.monotonic()
        again.show(view_of("bleeding"))
        question = view_of("bleeding").asked.text
        expect(page.locator("#asked-text")).to_have_text(question, timeout=8000)
        back_s = time.monotonic() - started_s
        expect(page.locator("#stale")).to_be_hidden()
        expect(page.locator("body")).to_have_attribute("data-link", "live")
        assert entered.empty(), "what did not reach the machine does not come later"
        page.close()
        entry.close()
    counted.append(f"display: stale shown after {stale_s:.1f} s, back {back_s:.1f} s after restart")


def test_a_live_loop_that_stands_still_is_told_in_red_until_it_goes_on(
    browser: Browser, screens: Path, counted: list[str]
) -> None:
    with closing(Display(port=0, token=TOKEN, keys=keys(shipped()), entries=Entries())) as display:
        display.start()
        page = browser.new_page(viewport={"width": 1920, "height": 1080})
        entry = browser.new_page()
        page.goto(display.addresses[0])
        entry.goto(display.entry_addresses[0])
        display.show(view_of("gate_open"))
        last_s = time.monotonic()
        for opened in (page, entry):
            expect(opened.locator("body")).to_have_attribute("data-link", "still")
            expect(opened.locator("#stale")).to_have_text(STILL)
        still_s = time.monotonic() - last_s
        page.screenshot(path=screens / "still.png")
        ground = page.locator("#stale").evaluate("e => getComputedStyle(e).backgroundColor")
        assert ground == "rgb(161, 21, 27)", "the red of face.css"
        for text in texts(page):
            assert contrast(text["color"], text["ground"]) >= 7, text
            if text["text"] == STILL:
                assert minutes_of_arc(text["capital"], FAR_MM) >= 20
                assert all(box[2] <= 1920 for box in text["boxes"]), "it is all on the screen"
        assert STILL in [text["text"] for text in texts(page)]
        display.beat()
        for opened in (page, entry):
            expect(opened.locator("#stale")).to_be_hidden()
        for name in ("stopped", "closed"):
            show(display, page, view_of(name))
            page.wait_for_timeout(2500)
            assert page.locator("#stale").is_hidden(), "nobody relies on it any more"
        page.close()
        entry.close()
    counted.append(f"display: a live loop's silence shown {still_s:.1f} s after its last beat")


def test_the_page_for_entry_tells_why_nothing_was_entered(browser: Browser) -> None:
    entries = Entries()
    entries.refuse(STOPPED)
    with closing(Display(port=0, token=TOKEN, keys=keys(shipped()), entries=entries)) as display:
        display.start()
        entry = browser.new_page()
        entry.goto(display.entry_addresses[0])
        confirm = entry.get_by_role("button", name="Confirm")
        confirm.click()
        expect(entry.locator("#problem")).to_have_text("Not entered: no question is shown yet.")
        display.show(view_of("read_back"))
        expect(entry.locator("#asked")).to_have_text(view_of("read_back").asked.text)
        entry.wait_for_timeout(1000)  # longer than a trembling finger
        confirm.click()
        expect(entry.locator("#problem")).to_have_text(STOPPED.sentence)
        entry.close()


def test_a_page_that_is_cut_off_without_a_word_notices_and_opens_a_new_connection(
    browser: Browser, display: Display
) -> None:
    with Cable(display.port) as cable:
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{cable.port}/")
        show(display, page, view_of("opened"))
        page.wait_for_timeout(4000)
        assert page.locator("#stale").is_hidden(), "nothing was said, and still it is live"
        cable.pull()
        display.show(view_of("early"))
        expect(page.locator("#stale")).to_be_visible(timeout=6000)
        expect(page.locator("#asked-text")).to_have_text(view_of("opened").asked.text)
        cable.plug_in()
        expect(page.locator("#stale")).to_be_hidden(timeout=9000)
        expect(page.locator("#asked-text")).to_have_text(view_of("early").asked.text)
        page.close()


def test_a_page_without_the_token_shows_no_keys(browser: Browser, display: Display) -> None:
    page = browser.new_page()
    answer = page.goto(display.entry_addresses[0].partition("?")[0])
    assert answer is not None
    assert answer.status == 403
    assert page.locator("button").count() == 0
    page.close()


def test_another_site_cannot_enter_through_the_nurses_browser(
    browser: Browser, display: Display, entered: Recorded
) -> None:
    """A page of another origin tries what pages can: with the token, even, it gets nothing in."""
    page = browser.new_page()
    page.route("http://elsewhere.example/", lambda r: r.fulfill(content_type="text/html", body="x"))
    page.goto("http://elsewhere.example/")
    target = f"http://127.0.0.1:{display.port}/entry"
    tries = """([url, token]) => {
      const post = { method: "POST", body: "confirm" }, mode = "no-cors";
      return Promise.allSettled([
        fetch(url, { ...post, mode }),
        fetch(url, { ...post, headers: { Authorization: "Bearer " + token } }),
        fetch(url + "?token=" + encodeURIComponent(token), { ...post, mode }),
      ]).then((all) => all.length);
    }"""
    assert page.evaluate(tries, [target, TOKEN]) == 3
    assert entered.empty()
    page.close()


# ---------------------------------------------------------------------------------- in order


def test_every_shown_view_is_drawn_in_its_order(
    display: Display, page: Page, counted: list[str]
) -> None:
    """How fast is only counted: from show() to the frame after the change of the document."""
    show(display, page, view_of("opened"))
    page.evaluate("""() => {
      const asked = document.getElementById("asked-text");
      window.drawn = [];
      new MutationObserver(() => requestAnimationFrame(() => setTimeout(() =>
        window.drawn.push([asked.innerText, performance.timeOrigin + performance.now()])))
      ).observe(asked, { childList: true });
    }""")
    taken_ms, wanted = [], []
    for n in range(30):
        shown, before_ms = view_of("refused" if n % 2 == 0 else "gate_open"), time.time() * 1000
        wanted.append(shown.asked.text)
        display.show(shown)
        page.wait_for_function("n => window.drawn.length > n", arg=n)
        taken_ms.append(page.evaluate("window.drawn.at(-1)[1]") - before_ms)
    assert page.evaluate("window.drawn.map(([text]) => text)") == wanted
    counted.append(
        f"display: show() to drawn, median {statistics.median(taken_ms):.0f} ms, "
        f"worst of {len(taken_ms)} {max(taken_ms):.0f} ms"
    )
