"""What is proven of an intact log, and what is not: the same on the terminal and on the page."""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.core.chain import Checkpoint
from voicecheck.review.examine import Examined
from voicecheck.review.misfit import is_short


def proof(examined: Examined) -> Iterator[tuple[str, str]]:
    """Heading and sentence of each part; nothing for a log that is not intact."""
    report, pinned = examined.report, examined.checkpoint
    if report is None or not examined.intact:
        return
    yield "Bytes", f"each of {examined.lines} lines has the hash of the line before it."
    yield "Story", f"every fact follows from its input by rules {report.setting.rules}."
    if pinned and pinned.length:
        yield "Checkpoint", _holds(pinned)
    yield from (("Remark", remark) for remark in examined.remarks)
    open_end = _open_end(examined.lines, pinned.length if pinned else 0, closed=report.closed)
    if open_end:
        yield "Not proven", open_end
    yield (
        "Proven by no log",
        "that what was stated is true; who said it; that it was heard correctly; that the clock "
        "was right.",
    )


def _holds(pinned: Checkpoint) -> str:
    holds = (
        f"holds; line {pinned.length} is the one that was kept elsewhere, so nothing up to it was "
        "changed or cut off."
    )
    if is_short(pinned):
        bits = 4 * len(pinned.last)
        holds += f" The code has {bits} of the hash's 256 bits"
        holds += _ENOUGH if bits >= _SEARCHED_BITS else _TOO_FEW
    return holds


_SEARCHED_BITS = 80
_ENOUGH = ": nobody can search for another log that fits."
_TOO_FEW = (
    ": enough against accident. Whoever wants to forge a log finds one that fits within hours on a "
    "graphics card; the long code is safe from that."
)


def _open_end(lines: int, pinned: int, *, closed: bool) -> str:
    """What the end leaves open; "" if nothing: a closed record has no further line."""
    if not pinned:
        return (
            "that the end was not cut off, and that the log was not rewritten as a whole; only a "
            "checkpoint kept elsewhere proves that."
        )
    if pinned < lines:
        return (
            f"that nothing after line {pinned} was cut off or rewritten; the checkpoint is older."
        )
    return (
        "" if closed else f"that no line after line {lines} was cut off; the record is not closed."
    )
