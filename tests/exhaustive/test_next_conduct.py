"""The next conduct, tried on a copy of the program: new cases live by it, old records stay as told.

The steps are those of DEVELOPERS.md, "change a rule". The rule that changes here is invented:
spillage lapses the criteria.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from golden_make import GOLDEN

from voicecheck.core.conduct import CURRENT

ROOT = Path(__file__).parents[2]
OLD, NEW = CURRENT.VERSION, CURRENT.VERSION + 1
MAIN = "from voicecheck.cli import main; main()"

TELL = """
import json
from golden_make import GOLDEN, told
from voicecheck.journal import read
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine
from voicecheck.review.formats import FORMATS, export

everything = {}
for path in sorted(GOLDEN.glob("*/*.log")):
    lines = read(path).lines
    everything[str(path)] = {
        "report": told(list(lines)),
        "page": case_page(examine(lines), path.name),
        **{to: export(lines, to) for to in FORMATS},
    }
print(json.dumps(everything))
"""

LIVE = """
import json
from dataclasses import replace

from stories import THREE_CRITERIA, Story, opening, shipped
from voicecheck.core.case import Case
from voicecheck.core.codec import encode
from voicecheck.core.conduct import conduct_of

def lived(rules):
    story = Story()
    first = opening()
    rules = rules or first.fact.rules
    shape = conduct_of(rules).shape(shipped())
    story.records = [replace(first, fact=replace(first.fact, rules=rules, shape=shape))]
    story.case = Case(story.records[0])
    (*_, spilt) = story.say(*THREE_CRITERIA, "checklist bile is spilling")
    return story.case.opened.rules, encode(spilt)["lapsed"]

print(json.dumps({"current": lived(None), "old": lived(OLD)}))
"""


def run(program: Path, *command: str, at: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Python, with the program that lies in this folder and with what tests share."""
    paths = os.pathsep.join(map(str, (program, ROOT / "tests")))
    return subprocess.run(
        [sys.executable, *command],
        cwd=at or program,
        env=os.environ | {"PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )


def told(program: Path, script: str) -> Any:
    """What a script prints, as JSON."""
    ran = run(program, "-c", script)
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


def change(path: Path, *changes: tuple[str, str]) -> None:
    """Replace each text, which must be there exactly once."""
    text = path.read_text(encoding="utf-8")
    for was, becomes in changes:
        assert text.count(was) == 1, (path.name, was)
        text = text.replace(was, becomes)
    path.write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def next_program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the program with another conduct, its data linked."""
    place = tmp_path_factory.mktemp("next")
    package = place / "voicecheck"
    ignored = shutil.ignore_patterns("model", "__pycache__")
    shutil.copytree(ROOT / "voicecheck", package, ignore=ignored)
    (package / "model").symlink_to(ROOT / "voicecheck" / "model")
    for data in ("grammars", "recordings_synthetic"):
        (place / data).symlink_to(ROOT / data)
    core = package / "core"
    shutil.copytree(core / f"conduct_{OLD}", core / f"conduct_{NEW}")
    change(core / f"conduct_{NEW}" / "__init__.py", (f"VERSION = {OLD}\n", f"VERSION = {NEW}\n"))
    change(
        core / f"conduct_{NEW}" / "rules.py",
        ("frozenset(procedure.file.events[event].lapses)", "frozenset({Kind.CRITERION})"),
    )
    change(
        core / "conduct.py",
        (
            f"import conduct_1, conduct_{OLD}\n",
            f"import conduct_1, conduct_{OLD}, conduct_{NEW}\n",
        ),
        (f"    {OLD}: conduct_{OLD},\n", f"    {OLD}: conduct_{OLD},\n    {NEW}: conduct_{NEW},\n"),
        (f"CURRENT: Conduct = conduct_{OLD}", f"CURRENT: Conduct = conduct_{NEW}"),
    )
    copied = "".join(path.read_text("utf-8") for path in core.glob(f"conduct_{NEW}/*.py"))
    assert f"conduct_{OLD}" not in copied
    return place


def test_records_of_the_old_conduct_are_told_byte_for_byte_as_before(next_program: Path) -> None:
    then, now = told(ROOT, TELL), told(next_program, TELL)
    assert len(then) == len([*GOLDEN.glob("*/*.log")]) > 0
    assert then
    assert now == then
    for log, each in now.items():
        kept = Path(log).with_suffix(".report.json")
        assert each["report"] == kept.read_text(encoding="utf-8")


def test_a_new_case_lives_by_the_new_conduct_and_an_old_one_by_its_own(next_program: Path) -> None:
    criteria = ["triangle", "plate", "two"]
    live = f"OLD = {OLD}\n{LIVE}"
    assert told(ROOT, live) == {"current": [OLD, []], "old": [OLD, []]}
    assert told(next_program, live) == {"current": [NEW, criteria], "old": [OLD, []]}


def test_a_whole_rehearsal_under_the_new_conduct_is_proven_there_and_newer_here(
    next_program: Path, tmp_path: Path
) -> None:
    rehearsed = run(next_program, "-c", MAIN, "rehearse", "early_clip", "--fast", at=tmp_path)
    assert rehearsed.returncode == 0, rehearsed.stdout + rehearsed.stderr
    (log,) = (tmp_path / "rehearsals").glob("*.log")
    assert json.loads(log.read_bytes().partition(b"\n")[0])["fact"]["rules"] == NEW
    assert run(next_program, "-c", MAIN, "verify", str(log)).returncode == 0
    here = run(ROOT, "-c", MAIN, "verify", str(log))
    assert here.returncode != 0
    assert "newer than this program" in here.stdout + here.stderr
