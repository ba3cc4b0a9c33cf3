"""What is proven of a log that holds, and what is not: the same sentences wherever it is said."""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.core.chain import Checkpoint
from voicecheck.review.examine import Examined

WHOLE_HASH = 64
"""Hexadecimal digits of SHA-256; a checkpoint in short has fewer."""


def proof(examined: Examined) -> Iterator[tuple[str, str]]:
    """Heading and sentence of each part; nothing for a log that is not intact."""
    report, pinned = examined.report, examined.checkpoint
    if report is None or not examined.intact:
        return
    yield "Bytes", f"each of {examined.lines} lines carries the hash of the line before it."
    yield "Story", f"every fact is what its input deserves under rules {report.setting.rules}."
    if pinned and pinned.length:
        yield "Checkpoint", _holds(pinned)
    open_end = _open_end(examined.lines, pinned.length if pinned else 0, closed=report.closed)
    if open_end:
        yield "Not proven", open_end
    yield (
        "Proven by no log",
        "that what was stated is so, who said it, that it was heard right, that the clock was "
        "right.",
    )


def _holds(pinned: Checkpoint) -> str:
    holds = (
        f"holds; line {pinned.length} is the one that was kept elsewhere, so nothing up to it was "
        "changed or cut off."
    )
    if len(pinned.last) < WHOLE_HASH:
        bits = 4 * len(pinned.last)
        holds += f" In short it names {bits} bits of the hash; the whole one names all 256."
    return holds


def _open_end(lines: int, pinned: int, *, closed: bool) -> str:
    """What could still be wrong with the end; "" if nothing: a closed record goes no further."""
    if not pinned:
        return (
            "that the end was not cut off, or all of it rewritten; only a checkpoint kept "
            "elsewhere proves that."
        )
    if pinned < lines:
        return (
            f"that the end was not cut off after line {pinned}, or rewritten; it came after the "
            "checkpoint."
        )
    return (
        "" if closed else f"that no line after line {lines} was cut off; the record is not closed."
    )
