"""The list of hazards names for each a control, and a test that is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
HAZARDS = TESTS.parent / "voicecheck" / "HAZARDS.md"
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in HAZARDS.read_text(encoding="utf-8").splitlines()
    if line.startswith("| ") and "`test_" in line
]


def named(cell: str) -> list[tuple[str, str]]:
    """(file, function) of each test in a cell."""
    return re.findall(r"`(test_\w+\.py)::(test_\w+)`", cell)


def test_every_hazard_has_a_cause_a_control_and_a_test() -> None:
    assert len(ROWS) >= 30
    for row in ROWS:
        assert len(row) == 4
        assert all(row), row
        assert named(row[3]), row


@pytest.mark.parametrize("test", sorted({each for row in ROWS for each in named(row[3])}))
def test_each_named_test_is_there(test: tuple[str, str]) -> None:
    file, function = test
    (path,) = TESTS.rglob(file)
    functions = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    assert function in {each.name for each in functions if isinstance(each, ast.FunctionDef)}
