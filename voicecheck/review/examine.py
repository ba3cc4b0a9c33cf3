"""What a log proves, and how much of a damaged one can still be told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from voicecheck.core.case import Case
from voicecheck.core.chain import Checkpoint, line_hash
from voicecheck.core.codec import Mistakes
from voicecheck.core.facts import Record, decode_record
from voicecheck.core.replay import BrokenLog, NewerLog, check_age, story
from voicecheck.journal import LONGEST, fault
from voicecheck.review.findings import Report
from voicecheck.review.misfit import misfit
from voicecheck.review.remarks import remarks
from voicecheck.review.report import report_on
from voicecheck.review.trace import Trace, trace_of


@dataclass(frozen=True, kw_only=True, slots=True)
class Examined:
    """A log after its proof."""

    lines: int
    """Number of whole lines."""
    newer: str = ""
    """Says that a later version made the log; "" if this version can read it."""
    damage: tuple[str, ...] = ()
    """What is wrong with the log itself; each sentence names its line."""
    misfit: str = ""
    """How the checkpoint differs from an undamaged log; "" if it fits or none was given."""
    report: Report | None = None
    """On the longest beginning that holds; None if not even the opening does."""
    trace: Trace | None = None
    """That beginning itself."""
    remarks: tuple[str, ...] = ()
    """What is odd in that beginning although it holds, in sentences."""
    checkpoint: Checkpoint | None = None
    """The one that was given, if any; it was kept elsewhere."""

    @property
    def faults(self) -> tuple[str, ...]:
        """All that is wrong with the log or the checkpoint."""
        return (*self.damage, self.misfit) if self.misfit else self.damage

    @property
    def intact(self) -> bool:
        """Whether bytes and story hold, and the checkpoint if one was given."""
        return not (self.newer or self.faults)


def examine(
    lines: Sequence[bytes], torn: bytes = b"", checkpoint: Checkpoint | None = None
) -> Examined:
    """Prove a log and report on it; never raises, whatever the log holds."""
    try:
        check_age(lines)
    except NewerLog as error:
        return Examined(lines=len(lines), newer=str(error))
    trace, damage = _longest(lines)
    return Examined(
        lines=len(lines),
        damage=damage or _torn(lines, torn),
        misfit=misfit(lines, checkpoint) if checkpoint and not damage else "",
        report=report_on(trace) if trace else None,
        trace=trace,
        remarks=remarks(step.record for step in trace.steps) if trace else (),
        checkpoint=checkpoint,
    )


def _longest(lines: Sequence[bytes]) -> tuple[Trace | None, tuple[str, ...]]:
    """The longest beginning that holds, and what breaks each longer one."""
    damage: list[str] = []
    while lines or not damage:
        try:
            return trace_of(closing_story(lines)), tuple(damage)
        except BrokenLog as broken:
            damage.append(str(broken))
            lines = lines[: _vouched(lines, broken.line)]
    return None, tuple(damage)


def closing_story(lines: Sequence[bytes]) -> Iterator[tuple[Case, Record]]:
    """Like replay.story, but the case is closed after it.

    An unclosed case would stay in the machine that all cases share.
    """
    case: Case | None = None
    try:
        for case, record in story(lines):
            yield case, record
    finally:
        if case is not None:
            case.close()


def _vouched(lines: Sequence[bytes], broken: int) -> int:
    """How many lines before the broken one can be trusted.

    The last of them may be the line that was changed. It counts only if the broken line still
    carries its hash.
    """
    before = broken - 1
    with suppress(Mistakes):
        if 0 < before < len(lines) and decode_record(lines[before]).prev == line_hash(
            lines[before - 1]
        ):
            return before
    return max(0, before - 1)


def _torn(lines: Sequence[bytes], torn: bytes) -> tuple[str, ...]:
    if not torn:
        return ()
    goes_on = len(torn) <= LONGEST
    cure = ". `voicecheck serve` continues the record there" if goes_on else ""
    return (f"Line {len(lines) + 1}: {fault(torn)}; every line before it holds{cure}",)
