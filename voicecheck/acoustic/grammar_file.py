"""A grammar file -> its phrases: a procedure file, or plain text with one phrase a line.

Apart from evaluate.py, because a machine that only makes speech has no recogniser.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicecheck import shipped
from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Address, Meaning, Unclear, Unsettle, Withdraw
from voicecheck.ears.wordings import wordings as wordings_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from voicecheck.ears.wordings import Wordings


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


def wordings(path: Path) -> Wordings | None:
    """Return what may be said in other words than a procedure's phrases; plain text has none."""
    if path.suffix != ".toml":
        return None
    asked = shipped.procedure_at(path)
    CURRENT.prepare(asked)  # before listening, or the first sentences would wait
    return wordings_of(asked)


def told_as(path: Path) -> Callable[[str], str]:
    """Return what turns an utterance into the phrase of the same meaning, if there is one.

    What denies or doubts a statement is told as the phrase that withdraws it.
    """
    if path.suffix != ".toml":
        return lambda text: text
    asked = shipped.procedure_at(path)
    by_meaning: dict[Meaning, str] = {}
    for text, command in CURRENT.phrases(asked).items():
        by_meaning.setdefault(command, text)

    def told(text: str) -> str:
        meant = CURRENT.interpret(asked, text)
        if isinstance(meant, Unsettle):
            meant = Withdraw(item=meant.item)
        return text if isinstance(meant, Unclear | Address) else by_meaning.get(meant, text)

    return told


def words(path: Path) -> Mapping[str, Sequence[str]]:
    """Return the pronunciations that a procedure file adds; plain text has none."""
    return shipped.procedure_at(path).file.lexicon if path.suffix == ".toml" else {}
