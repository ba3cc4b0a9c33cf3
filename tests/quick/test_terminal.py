"""The terminal tells an answer for what it is, and a rehearsal as one.

What must be told apart is the customer's list: the issue "Screens and records that tell the truth
at a glance".
"""

from __future__ import annotations

import click
import pytest
from states import told

from voicecheck.live import terminal


def printed(*said: str, rehearsal: bool = False) -> str:
    """All that is printed of the last line, or of the opening if nothing was said."""
    story, lines = told(said, rehearsal=rehearsal), list[str]()
    terminal.show(story.case, story.records[-1], "", lines.append)
    return click.unstyle("\n".join(lines))


@pytest.mark.parametrize(
    ("said", "taken"),
    [
        ("checklist structures uncertain", "stated, not as required "),
        ("checklist neck pulled the wrong way", "stated, not as required "),
        ("checklist table tilted head up", "stated "),
        ("checklist clips on the artery", "REFUSED "),
    ],
)
def test_an_unsafe_answer_is_not_told_as_plainly_stated(said: str, taken: str) -> None:
    assert f"\n          {taken}" in printed(said)


def test_a_rehearsal_is_told_as_one() -> None:
    assert "cholecystectomy · Rehearsal invented-1" in printed(rehearsal=True)
    assert "cholecystectomy · case invented-1" in printed()
