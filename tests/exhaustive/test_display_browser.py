"""The pages in a real browser: what may be said, entry by hand, and what goes wrong.

The states of the display have tests of their own (test_display_states.py). Sizes: ISO 9241-303,
capitals of 20 minutes of arc and never less than 16, from memory. Contrast: WCAG 2.2, success
criterion 1.4.6 (AAA), 7:1.
"""

from __future__ import annotations

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
from states import SCAFFOLD_TEXT, STORIES, view_of
from stories import PLAIN_COMMON, Story, shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Entered
from voicecheck.core.wording import CAUTION
from voicecheck.display.entries import CLOSED, STOPPED, Entries
from voicecheck.display.keys import keys
from voicecheck.display.screen import Asking, Hearing, Mark, Told, View
from voicecheck.display.server import Display
from voicecheck.display.view import view

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("Chromium is not installed (Debian's package chromium)", allow_module_level=True)

from looks import FAR_MM, contrast, minutes_of_arc, texts, violations  # noqa: E402
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


def test_what_may_be_said_is_shown_beside_what_is_asked(display: Display, page: Page) -> None:
    for name in ("last_criterion", "safe_line", "read_back"):
        show(display, page, view_of(name))
        drawn = page.locator("#say q").all_inner_texts()
        assert tuple(drawn) == view_of(name).asked.say
        assert len(drawn) > 1
    show(display, page, view_of("emergency"))
    expect(page.locator("#say")).to_have_text("To come back, say “checklist” and carry on ")


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
    for plain in _questions():
        shown = replace(plain, machine=replace(plain.machine, messages=troubles))
        show(display, page, shown)
        place = page.locator("#asked").bounding_box()
        assert place is not None
        drawn = page.locator("#asked-text, #say q").all()
        assert len(drawn) == 1 + len(shown.asked.say)
        for part in drawn:
            box = part.bounding_box()
            assert box is not None
            bottom = box["y"] + box["height"]
            assert bottom <= place["y"] + place["height"] + 2, (shown.asked.text, part.inner_text())
            size = part.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
            assert minutes_of_arc(0.7 * size, FAR_MM) >= 20, "not even trouble makes it smaller"


def test_every_trouble_is_told_whole_with_its_cure(display: Display, page: Page) -> None:
    for name in ("deaf_and_mute", "stopped"):
        show(display, page, view_of(name))
        told = "#say-label" if name == "stopped" else "#messages"
        expect(page.locator(told)).to_have_text(" ".join(view_of(name).machine.messages))
        expect(page.locator("#case")).to_have_text("Case invented-1")


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
    expect(page.locator("#elapsed")).to_have_text("2:03 since opened")
    expect(page.locator("#elapsed")).to_have_text("2:04 since opened", timeout=6000)


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
        missing=nasty,
        rehearsal=nasty,
        answer=Told(mark=Mark.NOTED, text=nasty, at_utc=plain.at_utc),
        kept=(Told(mark=Mark.FELL, text=nasty, at_utc=""),),
        heard=replace(heard, words=nasty, taken=nasty),
        phases=tuple(
            replace(
                stage,
                title=nasty,
                lines=tuple(
                    replace(line, name=nasty, label=nasty, word=nasty) for line in stage.lines
                ),
            )
            for stage in plain.phases
        ),
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
    box = page.locator("#say").bounding_box()
    place = page.locator("#asked").bounding_box()
    assert box is not None
    assert place is not None
    assert box["y"] + box["height"] <= place["y"] + place["height"] + 10
    capital = page.locator("#asked").evaluate("e => parseFloat(getComputedStyle(e).fontSize) * 0.7")
    assert minutes_of_arc(capital, FAR_MM) >= 14


# ------------------------------------------------------------------------------ accessibility


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
    display: Display, entry: Page, entered: Recorded
) -> None:
    display.show(view_of("first_criterion"))
    expect(entry.locator("#asked")).to_have_text(view_of("first_criterion").asked.text)
    find = entry.get_by_label("Find a phrase")
    problem = entry.locator("#problem")
    find.fill("with")
    find.press("Enter")
    left = len(shipped().items)
    assert entry.locator("#groups button:visible").count() == left
    expect(problem).to_contain_text(f"Not entered: {left} phrases begin so.")
    find.fill("xylo")
    expect(problem).to_have_text("")
    find.press("Enter")
    expect(problem).to_have_text("Not entered: no phrase has words that begin so.")
    find.fill("the tri")
    assert entry.locator("#groups button:visible").all_inner_texts() == ["withdraw the triangle"]
    find.press("Enter")
    assert entered.get(timeout=2).text == "checklist withdraw the triangle"
    assert entered.empty(), "with several left, Enter enters nothing"
    assert find.input_value() == ""
    find.fill("emer")
    assert entry.locator("#fixed button:visible").count() == 7, "the fixed keys stay"
    find.press("ArrowDown")
    entry.keyboard.press("Enter")
    assert entered.get(timeout=2).text == "checklist emergency"
    find.press("Escape")
    assert entry.locator("#groups button:visible").count() > 50


FIXED = {
    "emergency": "checklist emergency",
    "bleeding": "checklist active bleeding",
    "view lost": "checklist view is lost",
    "retraction slipped": "checklist retraction slipped",
    "call for help": "checklist call for help",
    "confirm": "confirm",
    "negative": "negative",
}


def test_seven_keys_are_first_by_tab_and_never_move(
    display: Display, browser: Browser, entered: Recorded
) -> None:
    entry = browser.new_page(viewport={"width": 1280, "height": 900})
    entry.goto(display.entry_addresses[0])
    places = set()
    for name in STORIES:
        display.beat()
        display.show(view_of(name))
        expect(entry.locator("#asked")).to_have_text(view_of(name).asked.text)
        boxes = [button.bounding_box() for button in entry.locator("#fixed button").all()]
        places.add(str(boxes))
    assert len(places) == 1
    for width in (390, 800, 1280):
        entry.set_viewport_size({"width": width, "height": 900})
        for button in entry.locator("#fixed button").all():
            assert button.evaluate("e => e.scrollWidth <= e.clientWidth"), (width, button)
    display.show(view_of("refused"))
    expect(entry.locator("#asked")).to_have_text(view_of("refused").asked.text)
    for presses, (label, phrase) in enumerate(FIXED.items(), 1):
        for _ in range(presses):
            entry.keyboard.press("Tab")
        assert entry.evaluate("document.activeElement.textContent") == label
        entry.keyboard.press("Enter")
        assert entered.get(timeout=2).text == phrase
    entry.close()


def test_the_fixed_keys_of_another_procedure_are_its_own(browser: Browser) -> None:
    scaffold = CURRENT.parse(SCAFFOLD_TEXT, PLAIN_COMMON)
    entries = Entries()
    with closing(Display(port=0, token=TOKEN, keys=keys(scaffold), entries=entries)) as display:
        display.start()
        with recording(display, entries) as recorded:
            entry = browser.new_page()
            entry.goto(display.entry_addresses[0])
            display.show(view_of("scaffold_wind"))
            expect(entry.locator("#missing-names li").first).to_have_text(
                re.compile(r"^stabilisers out and locked \(lapsed: strong wind \d\d:\d\d\)$")
            )
            assert entry.locator("#fixed button").all_text_contents() == [
                "emergency",
                "strong wind",
                "scaffold moved",
                "call for help",
                "confirm",
                "negative",
            ]
            entry.keyboard.press("Tab")
            entry.keyboard.press("Tab")
            entry.keyboard.press("Enter")
            assert recorded.get(timeout=2).text == "checklist wind is picking up"
            entry.close()


def ask(display: Display, entry: Page, name: str = "read_back") -> None:
    """Another question, then this one; and time to read it."""
    for each in ("opened", name):
        shown = view_of(each)
        display.show(replace(shown, machine=replace(shown.machine, hearing=Hearing.LISTENING)))
        expect(entry.locator("#asked")).to_have_text(shown.asked.text)
    entry.wait_for_timeout(1000)


def test_enter_confirms_and_escape_declines_only_what_could_be_read(
    display: Display, entry: Page, entered: Recorded
) -> None:
    problem = entry.locator("#problem")
    entry.reload()
    for key, phrase in (("Enter", "confirm"), ("Escape", "negative")):
        ask(display, entry)
        expect(entry.locator("#how-reply")).to_have_text("Enter confirms, Escape declines.")
        entry.keyboard.press(key)
        assert entered.get(timeout=2) == Entered(text=phrase, line=view_of("read_back").line)
    display.show(view_of("opened"))
    expect(entry.locator("#how-reply")).to_have_text("")
    for key in ("Enter", "Escape"):
        entry.keyboard.press(key)
    entry.wait_for_timeout(300)
    assert entered.empty(), "nothing waits for a reply"

    display.show(view_of("read_back"))
    expect(entry.locator("#asked")).to_have_text(view_of("read_back").asked.text)
    entry.keyboard.press("Enter")
    expect(problem).to_contain_text("Not entered: pressed before the question could be read.")
    assert entered.empty()

    ask(display, entry)
    entry.locator("#fixed .event").first.focus()
    entry.keyboard.press("Enter")
    assert entered.get(timeout=2).text == "checklist active bleeding", "the key that has the focus"
    ask(display, entry)
    find = entry.get_by_label("Find a phrase")
    find.fill("emergency")
    find.press("Enter")
    assert entered.get(timeout=2).text == "checklist emergency", "and what was typed"
    assert entered.empty()


def test_the_seconds_left_for_a_reply_are_counted_down_beside_the_question(
    display: Display, entry: Page
) -> None:
    ask(display, entry)
    wait = entry.locator("#wait")
    expect(wait).to_have_text(re.compile("^[89] s$"))
    expect(wait).to_have_text(re.compile("^[567] s$"))
    display.show(view_of("gate_open"))
    expect(wait).to_have_text("")


def test_what_is_missing_and_what_stays_is_listed(display: Display, entry: Page) -> None:
    for name in ("bleeding_and_slipped", "refused_beyond_the_gate", "closing_early", "opened"):
        shown = view_of(name)
        display.show(shown)
        expect(entry.locator("#asked")).to_have_text(shown.asked.text)
        lines = [line for stage in shown.phases for line in stage.lines if line.missing]
        expect(entry.locator("#missing-title")).to_have_text(f"{shown.missing}: {len(lines)}")
        listed = entry.locator("#missing-names li").all_inner_texts()
        assert [text.partition(" (")[0] for text in listed] == [line.name for line in lines]
        for text, line in zip(listed, lines, strict=True):
            assert line.word in text
        assert entry.locator("#kept-lines li").count() == len(shown.kept)
    display.show(view_of("closed"))
    expect(entry.locator("#missing")).to_be_hidden()


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


def test_after_the_end_every_press_is_answered(browser: Browser) -> None:
    """While the display is still served, and once the program is gone."""
    entries = Entries()
    entries.refuse(CLOSED)
    display = Display(port=0, token=TOKEN, keys=keys(shipped()), entries=entries)
    display.start()
    entry = browser.new_page()
    entry.goto(display.entry_addresses[0])
    display.show(view_of("closed"))
    expect(entry.locator("#asked")).to_have_text(view_of("closed").asked.text)
    problem = entry.locator("#problem")
    entry.get_by_role("button", name="Emergency").click()
    expect(problem).to_have_text(CLOSED.sentence)
    display.close()
    for name in ("Bleeding", "Confirm"):
        entry.get_by_label("Find a phrase").fill("x")  # which wipes what was told
        expect(problem).to_have_text("")
        entry.get_by_role("button", name=name).first.click()
        expect(problem).to_have_text(CLOSED.sentence)
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
