"""What was stated, how long it stood, in which phase, and what stood at each act."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from voicecheck.core import facts
from voicecheck.core.facts import Fact
from voicecheck.core.inputs import Answer
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode, State
from voicecheck.core.wording import took
from voicecheck.review.findings import (
    EMERGENCY,
    Act,
    Asked,
    Moment,
    Pause,
    Span,
    Statement,
    Stood,
    Stretch,
    Utterance,
)
from voicecheck.review.trace import Step, Trace


def asked(trace: Trace) -> Iterator[Asked]:
    """All items of the procedure, in order."""
    standing = trace.steps[-1].state_after.standing
    for place, item in enumerate(trace.procedure.items):
        yield Asked(
            item=item.id,
            name=item.name,
            kind=item.kind,
            phase=trace.procedure.phase_of[item.id].title,
            required=item.required,
            stands=trace.conduct.satisfied(trace.procedure, standing, place),
        )


def statements(trace: Trace) -> Iterator[Statement]:
    """All recorded statements, each with its phrase and the reply to its read-back."""
    said: dict[str, Utterance] = {}
    for step in trace.steps:
        fact = step.record.fact
        if isinstance(fact, facts.PauseBegun | facts.Proposed):
            if step.cause.text:  # a timer proposes the pause; the phrase that began it counts
                said[fact.item] = step.cause
        elif isinstance(fact, facts.Stated | facts.Noted):
            waited = step.state_before.pending == Answer(item=fact.item, answer=fact.answer)
            yield _statement(trace, step, fact, said.get(fact.item) if waited else None)


def _statement(
    trace: Trace, step: Step, fact: facts.Stated | facts.Noted, read_back: Utterance | None
) -> Statement:
    return Statement(
        at=step.at,
        item=fact.item,
        name=trace.name(fact.item),
        says=trace.means(fact.item, fact.answer),
        satisfies=trace.procedure.item(fact.item).answer(fact.answer).satisfies,
        outside=isinstance(fact, facts.Noted),
        said=read_back or step.cause,
        confirmed=step.cause if read_back else None,
        answered=step.answered,
    )


def spans(trace: Trace) -> Iterator[Span]:
    """All spans, in the order of the procedure's items, then of time."""
    for place, item in enumerate(trace.procedure.items):
        start: Moment | None = None
        for step in trace.steps:
            was, now = step.state_before.standing[place], step.state_after.standing[place]
            if was != now:
                if start is not None:
                    yield _span(trace, item.id, was, start, step)
                start = step.at if now else None
        if start is not None:
            yield _span(trace, item.id, trace.steps[-1].state_after.standing[place], start, None)


def _span(trace: Trace, item: str, answer: str, start: Moment, end: Step | None) -> Span:
    return Span(
        item=item,
        name=trace.name(item),
        says=trace.means(item, answer),
        satisfies=trace.procedure.item(item).answer(answer).satisfies,
        start=start,
        end=end.at if end else None,
        ended=because(trace, end.record.fact) if end else "",
    )


def because(trace: Trace, fact: Fact) -> str:  # noqa: PLR0911
    """How a fact is named as the cause of something else; "" if it causes nothing."""
    match fact:
        case facts.Occurred(event=event):
            return trace.procedure.file.events[event].name
        case facts.BailedOut(way=way):
            return f"bail-out: {trace.procedure.file.bail_outs[way].name}"
        case facts.Overridden():
            return EMERGENCY
        case facts.Cautioned(caution=caution):
            return trace.procedure.file.cautions[caution].name
        case facts.StoodBy() | facts.HelpCalled() | facts.Expired():
            return took(fact)
        case facts.Reopened():
            return "a gap in which nobody listened"
        case facts.Withdrawn(item=item):
            return f"{trace.name(item)} withdrawn"
        case facts.Stated(item=item, answer=answer):
            return f"stated: {trace.means(item, answer)}"
        case _:
            return ""


# -------------------------------------------------------------------------- phases, act and pause


def stretches(trace: Trace) -> Iterator[Stretch]:
    """All stretches of the case, in order."""
    courses = [(_course(trace, step.state_after), step.at) for step in trace.steps]
    kept = [courses[0], *(now for was, now in pairwise(courses) if now[0] != was[0])]
    ends = [at for _, at in kept[1:]] + [trace.steps[-1].at]
    for ((title, in_course), start), end in zip(kept, ends, strict=True):
        if title:
            yield Stretch(title=title, in_course=in_course, start=start, end=end)


def _course(trace: Trace, state: State) -> tuple[str, bool]:
    """What a stretch is called, and whether it is a phase of the course.

    In the course: the phase of the first outstanding item, or the last phase if nothing is
    outstanding. Outside it: the mode. Once the record is closed: "".
    """
    if state.mode is Mode.CLOSED:
        return "", False
    if state.mode not in (Mode.IN_COURSE, Mode.PAUSING):
        return state.mode.value.replace("_", " ").capitalize(), False
    rest = trace.conduct.outstanding(trace.procedure, state)
    phase = trace.procedure.phase_of[rest[0]] if rest else trace.procedure.phases[-1]
    return phase.title, True


def acts(trace: Trace, spans: Sequence[Span]) -> Iterator[Act]:
    """All recorded clippings and dividings, in the order of the log."""
    departure = ""
    for step in trace.steps:
        fact = step.record.fact
        if isinstance(fact, facts.BailedOut | facts.Overridden):
            departure = because(trace, fact)
        elif isinstance(fact, facts.Stated | facts.Noted) and _kind(trace, fact.item) is Kind.ACT:
            yield Act(
                at=step.at,
                name=trace.name(fact.item),
                during=departure if isinstance(fact, facts.Noted) else "",
                criteria=stood(trace, spans, Kind.CRITERION, step.at),
                pause=stood(trace, spans, Kind.PAUSE, step.at)[0],
            )


def stood(trace: Trace, spans: Sequence[Span], kind: Kind, at: Moment) -> tuple[Stood, ...]:
    """How long each item of a kind had stood at a given moment."""
    return tuple(
        Stood(item=item.id, name=item.name, stood_s=_stood_s(spans, item.id, at))
        for item in trace.procedure.items
        if item.kind is kind
    )


def _kind(trace: Trace, item: str) -> Kind:
    return trace.procedure.item(item).kind


def _stood_s(spans: Sequence[Span], item: str, at: Moment) -> float | None:
    for span in spans:
        stands = span.start.line < at.line and (span.end is None or span.end.line > at.line)
        if span.item == item and span.satisfies and stands:
            return at.since_s - span.start.since_s
    return None


def pause(trace: Trace) -> Pause:
    """How often the pause was begun and held."""
    begun = held = 0
    for step in trace.steps:
        fact = step.record.fact
        begun += isinstance(fact, facts.PauseBegun)
        held += isinstance(fact, facts.Stated) and _kind(trace, fact.item) is Kind.PAUSE
    return Pause(begun=begun, held=held)
