"""A grammar file -> its phrases: a procedure file, or plain text with one phrase a line.

Apart from evaluate.py, because a machine that only makes speech has no recogniser.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicecheck import shipped
from voicecheck.core.conduct import CURRENT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path


def phrases(path: Path) -> Mapping[str, float]:
    """Return each phrase with the least confidence to accept it with: 0 in plain text."""
    if path.suffix != ".toml":
        lines = path.read_text(encoding="utf-8").splitlines()
        return {line.strip(): 0.0 for line in lines if line.strip()}
    asked = shipped.procedure_at(path)
    return {
        text: CURRENT.least_confidence(asked, command)
        for text, command in CURRENT.phrases(asked).items()
    }


def replies(path: Path) -> frozenset[str]:
    """Return the phrases of a procedure that answer a read-back; plain text has none."""
    if path.suffix != ".toml":
        return frozenset()
    reply = shipped.procedure_at(path).common.reply
    return frozenset((*reply.confirm, *reply.negative))


def words(path: Path) -> Mapping[str, Sequence[str]]:
    """Return the pronunciations that a procedure file adds; plain text has none."""
    return shipped.procedure_at(path).file.lexicon if path.suffix == ".toml" else {}
