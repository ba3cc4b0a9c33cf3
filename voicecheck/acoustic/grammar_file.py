"""What a grammar's file lets one say: a procedure's own file, or plain text.

Here and not in evaluate.py, for a machine that only makes speech has no recogniser.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicecheck import shipped
from voicecheck.core.conduct import CURRENT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path


def phrases(path: Path) -> Mapping[str, float]:
    """Read a grammar, a procedure file or plain text with one phrase a line.

    Each phrase has the least confidence that it is accepted with: in plain text, any.
    """
    if path.suffix != ".toml":
        lines = path.read_text(encoding="utf-8").splitlines()
        return {line.strip(): 0.0 for line in lines if line.strip()}
    asked = shipped.procedure_at(path)
    return {
        text: CURRENT.least_confidence(asked, command)
        for text, command in CURRENT.phrases(asked).items()
    }


def replies(path: Path) -> frozenset[str]:
    """Those of a procedure's phrases that answer a read-back; plain text knows none."""
    if path.suffix != ".toml":
        return frozenset()
    reply = shipped.procedure_at(path).common.reply
    return frozenset((*reply.confirm, *reply.negative))


def words(path: Path) -> Mapping[str, Sequence[str]]:
    """How a procedure file says that words are spoken; plain text says nothing."""
    return shipped.procedure_at(path).file.lexicon if path.suffix == ".toml" else {}
