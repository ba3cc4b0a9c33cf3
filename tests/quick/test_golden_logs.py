"""Every log version that was ever released replays and reports as it did, and verifies by others.

The golden logs are invented cases, written once by the version in their folder's name.
"""

from __future__ import annotations

import ast
import json
from pathlib import Path

import independent
import pytest
from golden_make import GOLDEN, KINDS, home, kinds, told
from invented import invent

from voicecheck.core import facts
from voicecheck.core.chain import Checkpoint, line_hash, parse_checkpoint
from voicecheck.core.conduct import CURRENT
from voicecheck.journal import read
from voicecheck.review.examine import examine

RELEASED = ((1, 1),)
"""(format, rules) of every version that was ever released; only ever added to."""

LOGS = sorted(GOLDEN.glob("*/*.log"))


def lines(log: Path) -> list[bytes]:
    return list(read(log).lines)


def pin(found: list[bytes]) -> str:
    return str(Checkpoint(length=len(found), last=line_hash(found[-1])))


def test_the_present_version_is_among_the_released_ones() -> None:
    assert (facts.VERSION, CURRENT.VERSION) in RELEASED, "add it, and make its golden logs"


@pytest.mark.parametrize("version", RELEASED)
def test_every_released_version_has_golden_logs(version: tuple[int, int]) -> None:
    folder = GOLDEN / "format-{}-rules-{}".format(*version)
    assert list(folder.glob("*.log")), f"{folder.name} is missing"


def test_the_golden_logs_of_the_present_version_hold_every_kind_of_fact() -> None:
    held = set().union(*(kinds(lines(log)) for log in home().glob("*.log")))
    assert held == KINDS, "make the golden logs anew before release (golden_make.py)"


@pytest.mark.parametrize("log", LOGS, ids=lambda log: f"{log.parent.name}/{log.stem}")
def test_a_golden_log_replays_and_reports_as_before(log: Path) -> None:
    assert told(lines(log)) == log.with_suffix(".report.json").read_text(encoding="utf-8")


@pytest.mark.parametrize("log", LOGS, ids=lambda log: f"{log.parent.name}/{log.stem}")
def test_the_checkpoint_that_was_kept_then_still_holds(log: Path) -> None:
    kept = json.loads(log.with_suffix(".report.json").read_text(encoding="utf-8"))["checkpoint"]
    assert examine(lines(log), checkpoint=parse_checkpoint(kept)).intact


# -------------------------------------------------------------------------- the other verifier


def test_the_other_verifier_uses_nothing_of_ours() -> None:
    tree = ast.parse(Path(independent.__file__).read_text(encoding="utf-8"))
    imported = {
        name
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert not any(name.startswith("voicecheck") for name in imported)
    verifier = next(node for node in tree.body if getattr(node, "name", "") == "verify")
    assert verifier.end_lineno is not None
    assert verifier.end_lineno - verifier.lineno <= 14


@pytest.mark.parametrize("log", LOGS, ids=lambda log: f"{log.parent.name}/{log.stem}")
def test_the_other_verifier_agrees_on_every_golden_log(log: Path) -> None:
    assert independent.verify(log.read_bytes(), pin(lines(log))) == ""


def test_the_other_verifier_agrees_on_damaged_logs(counted: list[str]) -> None:
    whole = invent(1)[:40]
    kept, agreed = pin(whole), 0
    for number in range(len(whole)):
        for damaged in _damaged(whole, number):
            ours = examine(damaged, checkpoint=parse_checkpoint(kept))
            theirs = independent.verify(b"".join(line + b"\n" for line in damaged), kept)
            assert not ours.intact
            assert theirs, f"the other verifier missed damage at line {number + 1}"
            agreed += 1
    counted.append(f"two verifiers agree on {agreed} damaged logs")


def _damaged(whole: list[bytes], at: int) -> list[list[bytes]]:
    """One line changed, dropped, doubled, or swapped with the next."""
    line = whole[at]
    other = bytes([*line[:-20], line[-20] ^ 1, *line[-19:]])
    changed = [*whole[:at], other, *whole[at + 1 :]]
    dropped = [*whole[:at], *whole[at + 1 :]]
    doubled = [*whole[:at], line, *whole[at:]]
    swapped = [*whole[:at], *whole[at : at + 2][::-1], *whole[at + 2 :]]
    return [changed, dropped, doubled] + ([swapped] if swapped != whole else [])
