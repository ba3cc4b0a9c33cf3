"""Make terminal.png and review.png anew: what the README's first command prints, and a review.

    python tests/pictures/make.py

Rehearses an invented case with the installed program, reviews another one, of an hour, and has
Chromium draw what came of them.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from html import escape
from pathlib import Path
from textwrap import wrap

from playwright.sync_api import Browser, sync_playwright

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))
from invented import write_one  # noqa: E402 - what tests share

PROGRAM = Path(sys.executable).with_name("voicecheck")
COLUMNS = 108
FROM, UNTIL = "checklist triangle free of fat", "Next: third criterion"
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


if __name__ == "__main__":
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as place:
        chromium = playwright.chromium.launch(
            executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
            args=["--no-sandbox", "--disable-gpu"],
        )
        draw_terminal(chromium, place)
        draw_review(chromium, place)
