"""Every released version replays and reports its logs as it did, and its conduct never changes.

The golden logs are invented cases, written once by the version in their folder's name. Another
verifier (independent.py) must agree on them.
"""

from __future__ import annotations

import ast
import hashlib
import json
import shutil
from pathlib import Path

import independent
import pytest
from golden_make import GOLDEN, KINDS, home, kinds, told
from invented import invent

from voicecheck.core import conduct, facts
from voicecheck.core.chain import Checkpoint, line_hash, parse_checkpoint
from voicecheck.core.conduct import CURRENT
from voicecheck.journal import read
from voicecheck.review.examine import examine

RELEASED = ((1, 1), (2, 2))
"""(format, rules) of every version that was ever released; only ever added to."""

FROZEN = {
    1: "97cbcbca305c27f1d8f8974734bfce6559684d1b7f38510d0b4102ff0dacca4a",
    2: "a3e69d0b850be18752044307133c8588aeea8f90e8885803e23305471b566220",
}
"""Fingerprint of each released conduct; only ever added to."""

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


# ----------------------------------------------------------------------------- released conduct


def test_a_released_conduct_never_changes() -> None:
    assert set(FROZEN) == {rules for _, rules in RELEASED}
    for version, pinned in FROZEN.items():
        assert fingerprint(version) == pinned, (
            f"conduct {version} is released: copy it to conduct_{version + 1} and change that "
            "(DEVELOPERS.md, change a rule)"
        )


def fingerprint(version: int) -> str:
    """SHA-256 over the syntax of a conduct's code: comments, docstrings and layout may change."""
    folder = Path(conduct.__file__).parent / f"conduct_{version}"
    code = {path.name: _syntax(_without_docs(path)) for path in sorted(folder.glob("*.py"))}
    return hashlib.sha256(json.dumps(code, default=repr).encode()).hexdigest()


def _without_docs(path: Path) -> ast.Module:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            node.body = [each for each in node.body if not _is_doc(each)]
    return tree


def _is_doc(node: ast.stmt) -> bool:
    """Also a docstring that stands below an attribute."""
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _syntax(part: object) -> object:
    """As lists, without empty fields: which ones there are differs with Python's version."""
    if isinstance(part, list):
        return [_syntax(each) for each in part]
    if not isinstance(part, ast.AST):
        return part
    fields = [(name, _syntax(value)) for name, value in ast.iter_fields(part)]
    return [type(part).__name__, *(field for field in fields if field[1] not in (None, []))]


@pytest.mark.parametrize(
    ("was", "becomes", "same"),
    [
        ("Kind.PAUSE, Kind.ACT})", "Kind.PAUSE})", False),
        ("Event.SPILLAGE: frozenset()", "Event.SPILLAGE: frozenset({Kind.CRITERION})", False),
        ("from .standing import", "from voicecheck.core.conduct_1.standing import", False),
        ('"""', '"""In other words. ', True),
        ("\nCRITICAL =", "\n\n\n# Another comment.\nCRITICAL =", True),
    ],
)
def test_the_fingerprint_tells_code_from_words(
    was: str, becomes: str, same: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(Path(conduct.__file__).parent / "conduct_1", tmp_path / "conduct_1")
    rules = tmp_path / "conduct_1" / "rules.py"
    text = rules.read_text(encoding="utf-8")
    assert was in text
    rules.write_text(text.replace(was, becomes, 1), encoding="utf-8")
    before = fingerprint(1)
    monkeypatch.setattr(conduct, "__file__", str(tmp_path / "conduct.py"))
    assert (fingerprint(1) == before) is same


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
