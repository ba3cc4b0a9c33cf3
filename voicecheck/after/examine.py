"""What a log proves, and what of a damaged one can still be told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from voicecheck.after.findings import Report
from voicecheck.case import Case
from voicecheck.chain import Checkpoint, line_hash
from voicecheck.codec import Mistakes
from voicecheck.facts import Record, decode_record
from voicecheck.replay import BrokenLog, check_checkpoint, story
from voicecheck.report import report


@dataclass(frozen=True, kw_only=True, slots=True)
class Examined:
    """A log after proof."""

    lines: int
    """How many whole lines the log has."""
    damage: tuple[str, ...]
    """Everything found wrong, a sentence each that names its line; empty for an intact log."""
    report: Report | None
    """Of the lines that can still be told; None where not even the opening can."""
    checkpoint: Checkpoint | None
    """Kept elsewhere, and held against the log."""

    @property
    def intact(self) -> bool:
        """Whether bytes and story hold, and the checkpoint if there was one."""
        return not self.damage


def examine(
    lines: Sequence[bytes], torn: bytes = b"", checkpoint: Checkpoint | None = None
) -> Examined:
    """Prove a log and report on it; never raises for what the log holds."""
    damage: list[str] = []
    found, kept = _told(lines, damage)
    if kept == len(lines):
        damage += _after_the_end(lines, torn, checkpoint)
    return Examined(lines=len(lines), damage=tuple(damage), report=found, checkpoint=checkpoint)


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


def _after_the_end(
    lines: Sequence[bytes], torn: bytes, checkpoint: Checkpoint | None
) -> Iterator[str]:
    if torn:
        yield (
            f"Line {len(lines) + 1}: it was cut short after {len(torn)} bytes and was never "
            "acknowledged to anybody; every line before it holds, and `voicecheck serve` takes the "
            "record up from there"
        )
    if checkpoint is not None:
        try:
            check_checkpoint(lines, checkpoint)
        except BrokenLog as broken:
            yield str(broken)
