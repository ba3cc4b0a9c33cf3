"""Make the README's pictures anew: the terminal, the display, entry by hand and a review.

    python tests/pictures/make.py

Rehearses an invented case with the installed program, shows and reviews another, of an hour, and
has Chromium draw what came of them.
"""

from __future__ import annotations

import secrets
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import datetime, timedelta
from html import escape
from pathlib import Path
from textwrap import wrap

from playwright.sync_api import Browser, Page, sync_playwright

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))
from invented import write_one  # noqa: E402 - what tests share
from stories import shipped  # noqa: E402

from voicecheck.core.case import Case  # noqa: E402
from voicecheck.core.facts import Fact, Proposed, Refused, Stated, decode_record  # noqa: E402
from voicecheck.core.replay import replay  # noqa: E402
from voicecheck.display.entries import Entries  # noqa: E402
from voicecheck.display.keys import keys  # noqa: E402
from voicecheck.display.server import Display  # noqa: E402
from voicecheck.display.view import view  # noqa: E402

PROGRAM = Path(sys.executable).with_name("voicecheck")
COLUMNS = 108
FROM, UNTIL = "checklist triangle free of fat", "Next: structures?"
FRAME = """<!DOCTYPE html><meta charset="utf-8"><style>
body { margin: 0; } pre { margin: 0; padding: 22px 26px; width: max-content;
color: #e8eef1; background: #16212a; font: 15px/1.45 "DejaVu Sans Mono", monospace; }
</style><pre>%s</pre>"""


def printed(*words: str) -> str:
    """What the program prints."""
    ran = subprocess.run([PROGRAM, *words], check=True, capture_output=True, text=True)
    return ran.stdout


def excerpt(command: tuple[str, ...], text: str) -> str:
    """The command, then the lines from FROM to UNTIL, wrapped where a terminal has its edge."""
    lines = text.splitlines()
    first = next(number for number, line in enumerate(lines) if FROM in line)
    last = next(number for number, line in enumerate(lines) if UNTIL in line)
    shown = ["\n".join(wrap(line, COLUMNS, subsequent_indent=" " * 16)) for line in lines]
    return "\n".join([f"$ voicecheck {' '.join(command)}", "…", *shown[first : last + 1], "…"])


def draw_terminal(browser: Browser, folder: str) -> None:
    """A clip called too early, and what is answered."""
    command = ("rehearse", "early_clip", "--fast")
    page = browser.new_page(viewport={"width": 1200, "height": 400})
    page.set_content(FRAME % escape(excerpt(command, printed(*command, "--case-dir", folder))))
    page.locator("pre").screenshot(path=HERE / "terminal.png")


def draw_review(browser: Browser, folder: str) -> None:
    """The first screen of a review."""
    log = write_one(Path(folder), 5)
    printed("review", str(log))
    page = browser.new_page(viewport={"width": 1120, "height": 1500})
    page.goto(log.with_suffix(".html").as_uri())
    page.screenshot(path=HERE / "review.png")


def after(log: Path, wanted: Callable[[Fact], bool]) -> Case:
    """The case of a log once the first line of that kind was written."""
    lines = log.read_bytes().splitlines()
    count = next(n for n, line in enumerate(lines, 1) if wanted(decode_record(line).fact))
    return replay(lines[:count])


def draw_display(browser: Browser, folder: str) -> None:
    """The prompt display at three moments of a case, and entry by hand at one."""
    log = write_one(Path(folder), 5)
    display = Display(
        port=0, token=secrets.token_urlsafe(), keys=keys(shipped()), entries=Entries()
    )
    display.start()
    moments: dict[str, Callable[[Fact], bool]] = {
        "display-question": lambda fact: isinstance(fact, Stated) and fact.item == "above",
        "display-refused": lambda fact: isinstance(fact, Refused),
        "display-gate-open": lambda fact: isinstance(fact, Stated) and fact.item == "pause",
    }
    theatre = browser.new_context(
        viewport={"width": 1280, "height": 720}, timezone_id="Europe/London"
    )
    for name, wanted in moments.items():
        draw(display, theatre.new_page(), display.addresses[0], after(log, wanted), name)
    tablet = browser.new_context(viewport={"width": 900, "height": 900})
    read_back = after(log, lambda fact: isinstance(fact, Proposed))
    draw(display, tablet.new_page(), display.entry_addresses[0], read_back, "entry-by-hand")
    display.close()


def draw(display: Display, page: Page, address: str, case: Case, name: str) -> None:
    """One page, two seconds after the last line of a case."""
    assert case.last is not None
    page.clock.install(time=datetime.fromisoformat(case.last.at.utc) + timedelta(seconds=2))
    page.goto(address)
    for _ in range(10):  # as a live loop does, or the page says that it stands still
        display.show(view(case, case.last, listening=True))
        page.wait_for_timeout(200)
    page.screenshot(path=HERE / f"{name}.png")


if __name__ == "__main__":
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as place:
        chromium = playwright.chromium.launch(
            executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
            args=["--no-sandbox", "--disable-gpu"],
        )
        draw_terminal(chromium, place)
        draw_review(chromium, place)
        draw_display(chromium, place)
