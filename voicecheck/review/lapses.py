"""What lapsed, by what, and whether it was stated again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.review.findings import Fallen, Lapse, Moment, Span
from voicecheck.review.stated import because
from voicecheck.review.trace import Trace


def lapses(trace: Trace, spans: Sequence[Span]) -> Iterator[Lapse]:
    """One for each line by which statements lapsed, in the order of the log."""
    for step in trace.steps:
        lapsed: tuple[str, ...] = getattr(step.record.fact, "lapsed", ())
        if lapsed:
            yield Lapse(
                at=step.at,
                why=because(trace, step.record.fact),
                items=tuple(
                    Fallen(item=item, name=trace.name(item), restored=_next(spans, item, step.at))
                    for item in lapsed
                ),
            )


def _next(spans: Sequence[Span], item: str, at: Moment) -> Moment | None:
    """When the item next stood as required."""
    starts = (span.start for span in spans if span.item == item and span.satisfies)
    return next((start for start in starts if start.line > at.line), None)
