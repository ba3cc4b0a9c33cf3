"""What a log proves, and what of a damaged one can still be told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from voicecheck.core.case import Case
from voicecheck.core.chain import Checkpoint, line_hash
from voicecheck.core.codec import Mistakes
from voicecheck.core.facts import Record, decode_record
from voicecheck.core.replay import BrokenLog, NewerLog, check_age, check_checkpoint, story
from voicecheck.review.findings import Report
from voicecheck.review.report import report


@dataclass(frozen=True, kw_only=True, slots=True)
class Examined:
    """A log after proof."""

    lines: int
    """How many whole lines the log has."""
    damage: tuple[str, ...]
    """Everything found wrong, a sentence each that names its line; empty for an intact log."""
    newer: str
    """That it was made by a later version than this one, in a sentence; "" where it was not."""
    misfit: str
    """Where only the checkpoint does not fit: that it may have been mistyped, in a sentence."""
    report: Report | None
    """Of the lines that can still be told; None where not even the opening can."""
    checkpoint: Checkpoint | None
    """Kept elsewhere, and held against the log."""

    @property
    def intact(self) -> bool:
        """Whether bytes and story hold, and the checkpoint if there was one."""
        return not (self.damage or self.newer)


def examine(
    lines: Sequence[bytes], torn: bytes = b"", checkpoint: Checkpoint | None = None
) -> Examined:
    """Prove a log and report on it; never raises for what the log holds."""
    damage: list[str] = []
    newer = misfit = ""
    found: Report | None = None
    try:
        check_age(lines)
    except NewerLog as error:
        newer = str(error)
    else:
        found, kept = _told(lines, damage)
        misfit = _misfit(lines, checkpoint) if kept == len(lines) else ""
        if kept == len(lines):
            damage += [*_torn(lines, torn), *([misfit] if misfit else [])]
    return Examined(
        lines=len(lines),
        damage=tuple(damage),
        newer=newer,
        misfit=misfit if damage == [misfit] else "",
        report=found,
        checkpoint=checkpoint,
    )


def _told(lines: Sequence[bytes], damage: list[str]) -> tuple[Report | None, int]:
    """The report of the longest beginning that holds, and its length; adds to `damage`."""
    while lines or not damage:
        try:
            return report(closing_story(lines)), len(lines)
        except BrokenLog as broken:
            damage.append(str(broken))
            lines = lines[: _vouched(lines, broken.line)]
    return None, 0


def closing_story(lines: Sequence[bytes]) -> Iterator[tuple[Case, Record]]:
    """The story of a log that must not be empty; raises BrokenLog like replay.story.

    Whatever comes of it, its case lets go of the machine that all cases share.
    """
    if not lines:
        raise BrokenLog(1, "the log is empty; not even an opening was recorded")
    case: Case | None = None
    try:
        for case, record in story(lines):
            yield case, record
    finally:
        if case is not None:
            case.close()


def _vouched(lines: Sequence[bytes], broken: int) -> int:
    """How many lines before the broken one the next line's link vouches for."""
    before = broken - 1
    with suppress(Mistakes):
        if 0 < before < len(lines) and decode_record(lines[before]).prev == line_hash(
            lines[before - 1]
        ):
            return before
    return max(0, before - 1)


def _torn(lines: Sequence[bytes], torn: bytes) -> Iterator[str]:
    if torn:
        yield (
            f"Line {len(lines) + 1}: it was cut short after {len(torn)} bytes and was never "
            "acknowledged to anybody; every line before it holds, and `voicecheck serve` takes the "
            "record up from there"
        )


def _misfit(lines: Sequence[bytes], checkpoint: Checkpoint | None) -> str:
    """Why the checkpoint does not fit, and whether it looks mistyped; "" where it fits."""
    if checkpoint is None:
        return ""
    try:
        check_checkpoint(lines, checkpoint)
    except BrokenLog as broken:
        if checkpoint.length > len(lines):
            return f"{broken}; if that number was mistyped, give the checkpoint again"
        ours = Checkpoint(length=checkpoint.length, last=line_hash(lines[checkpoint.length - 1]))
        whole = len(checkpoint.last) == len(ours.last)
        here, given = (str(each) if whole else each.code for each in (ours, checkpoint))
        wrong = sum(a != b for a, b in zip(here, given, strict=True))
        likely = "; it was probably mistyped" if wrong <= MISTYPED else ""
        return (
            f"{broken}: here it is {here}, given was {given}{likely}. Compare it "
            "letter by letter with what was kept. If that is what was kept, the log was rewritten"
        )
    return ""


MISTYPED = 2
"""So few wrong characters are a slip. Another line's short code agrees in six of its eight letters
by a chance of one in 40 million: 28 pairs of places times 31² other letters, of 32⁸ codes."""
