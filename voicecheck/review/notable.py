"""The lines that a reviewer will look for: refusals, corrections, events, departures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.core import facts
from voicecheck.core.wording import took
from voicecheck.review.findings import Departure, Happening, Moment
from voicecheck.review.lines import REASONS, gap
from voicecheck.review.stated import because, statements
from voicecheck.review.trace import Step, Trace

LED_AT_MOST = 5
"""A departure shows at most this many notable lines that led to it."""


def happening(step: Step, kind: str, what: str, why: str = "") -> Happening:
    """One step as a happening."""
    return Happening(
        at=step.at, kind=kind, what=what, why=why, cause=step.cause, answered=step.answered
    )


def refusals(trace: Trace) -> Iterator[Happening]:
    """All refused commands, each with what was in its way."""
    for step in trace.steps:
        match step.record.fact:
            case facts.Refused(why=why, item=item, outstanding=missing) as fact:
                what = trace.name(item) if item else step.cause.text
                left = f"outstanding: {trace.names(missing)}" if missing else REASONS[why]
                yield happening(step, took(fact), what, left)
            case _:
                pass


def corrections(trace: Trace) -> Iterator[Happening]:
    """All statements that were withdrawn, answered anew or lapsed."""
    for step in trace.steps:
        fact = step.record.fact
        if isinstance(fact, facts.Withdrawn):
            yield happening(step, took(fact), trace.name(fact.item))
        elif isinstance(fact, facts.Stated):
            was = step.state_before.standing[trace.procedure.index[fact.item]]
            if was not in ("", fact.answer):
                yield happening(
                    step,
                    "answered anew",
                    trace.name(fact.item),
                    f"{trace.means(fact.item, was)} → {trace.means(fact.item, fact.answer)}",
                )
        lapsed: tuple[str, ...] = getattr(fact, "lapsed", ())
        if lapsed:
            yield happening(step, "lapsed", trace.names(lapsed), because(trace, fact))


def events(trace: Trace) -> Iterator[Happening]:
    """All events, cautions, calls for help, interruptions and gaps."""
    for step in trace.steps:
        match step.record.fact:
            case facts.Occurred(event=event):
                yield happening(step, "event", trace.procedure.file.events[event].name)
            case facts.Cautioned(caution=caution):
                name = trace.procedure.file.cautions[caution].name
                yield happening(step, "caution", name)
            case facts.HelpCalled():
                yield happening(step, "help", took(step.record.fact))
            case facts.Reopened(gap_s=gap_s):
                yield happening(step, "gap", gap(gap_s))
            case facts.StoodBy() | facts.Resumed():
                yield happening(step, "interruption", took(step.record.fact))
            case _:
                pass


def in_doubt(trace: Trace) -> Iterator[Happening]:
    """Answers that keep the gate closed, such as "more than two structures"."""
    for statement in statements(trace):
        if not statement.satisfies:
            yield Happening(
                at=statement.at,
                kind="answer",
                what=statement.name,
                why=statement.says,
                cause=statement.said,
                answered=statement.answered,
            )


def departures(trace: Trace, notable: Sequence[Happening]) -> Iterator[Departure]:
    """All bail-outs and emergencies; `notable` must be in the order of the log."""
    since = 0
    for place, step in enumerate(trace.steps):
        fact = step.record.fact
        if not isinstance(fact, facts.BailedOut | facts.Overridden):
            continue
        led = [happening for happening in notable if since < happening.at.line < step.at.line]
        yield Departure(
            at=step.at,
            what=because(trace, fact),
            cause=step.cause,
            answered=step.answered,
            lapsed=tuple(trace.name(item) for item in fact.lapsed),
            led=tuple(led[-LED_AT_MOST:]),
            resumed=_resumed(trace.steps[place:]),
        )
        since = step.at.line


def _resumed(steps: tuple[Step, ...]) -> Moment | None:
    return next((step.at for step in steps if isinstance(step.record.fact, facts.Resumed)), None)
