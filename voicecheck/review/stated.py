"""What was stated, how long it stood, in which phase, and what stood at each act."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from voicecheck.core import facts
from voicecheck.core.facts import Fact
from voicecheck.core.inputs import Answer
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode, State
from voicecheck.review.findings import (
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
from voicecheck.review.told import Step, Told


def asked(told: Told) -> Iterator[Asked]:
    """Every item of the procedure, in order."""
    standing = told.steps[-1].after.standing
    for place, item in enumerate(told.procedure.items):
        yield Asked(
            item=item.id,
            name=item.name,
            kind=item.kind,
            phase=told.procedure.phase_of[item.id].title,
            required=item.required,
            stands=told.conduct.satisfied(told.procedure, standing, place),
        )


def statements(told: Told) -> Iterator[Statement]:
    """Every statement on record, with the phrase that brought it and the reply to its read-back."""
    said: dict[str, Utterance] = {}
    for step in told.steps:
        fact = step.record.fact
        if isinstance(fact, facts.PauseBegun | facts.Proposed):
            if step.cause.text:  # the pause is proposed by its timer: its phrase began it
                said[fact.item] = step.cause
        elif isinstance(fact, facts.Stated | facts.Noted):
            waited = step.before.pending == Answer(item=fact.item, answer=fact.answer)
            yield _statement(told, step, fact, said.get(fact.item) if waited else None)


def _statement(
    told: Told, step: Step, fact: facts.Stated | facts.Noted, read_back: Utterance | None
) -> Statement:
    return Statement(
        at=step.at,
        item=fact.item,
        name=told.name(fact.item),
        says=told.says(fact.item, fact.answer),
        satisfies=told.procedure.item(fact.item).answer(fact.answer).satisfies,
        outside=isinstance(fact, facts.Noted),
        said=read_back or step.cause,
        confirmed=step.cause if read_back else None,
    )


def spans(told: Told) -> Iterator[Span]:
    """In the order of the procedure's items, then of time."""
    for place, item in enumerate(told.procedure.items):
        start: Moment | None = None
        for step in told.steps:
            was, now = step.before.standing[place], step.after.standing[place]
            if was != now:
                if start is not None:
                    yield _span(told, item.id, was, start, step)
                start = step.at if now else None
        if start is not None:
            yield _span(told, item.id, told.steps[-1].after.standing[place], start, None)


def _span(told: Told, item: str, answer: str, start: Moment, end: Step | None) -> Span:
    return Span(
        item=item,
        name=told.name(item),
        says=told.says(item, answer),
        satisfies=told.procedure.item(item).answer(answer).satisfies,
        start=start,
        end=end.at if end else None,
        ended=because(told, end.record.fact) if end else "",
    )


def because(told: Told, fact: Fact) -> str:  # noqa: PLR0911
    """A fact as the cause of something else."""
    match fact:
        case facts.Occurred(event=event):
            return told.procedure.file.events[event].name
        case facts.BailedOut(way=way):
            return f"bail-out: {told.procedure.file.bail_outs[way].name}"
        case facts.Overridden():
            return "emergency"
        case facts.StoodBy():
            return "standing by"
        case facts.Reopened():
            return "a gap in which nobody listened"
        case facts.Withdrawn(item=item):
            return f"{told.name(item)} withdrawn"
        case facts.Stated(item=item, answer=answer):
            return f"stated: {told.says(item, answer)}"
        case _:
            return ""


# -------------------------------------------------------------------------- phases, act and pause


def stretches(told: Told) -> Iterator[Stretch]:
    """The course of the case: the phase of the first outstanding item, or how it was left."""
    marks = [(_course(told, step.after), step.at) for step in told.steps]
    kept = [marks[0], *(now for was, now in pairwise(marks) if now[0] != was[0])]
    ends = [at for _, at in kept[1:]] + [told.steps[-1].at]
    for ((title, in_course), start), end in zip(kept, ends, strict=True):
        if title:
            yield Stretch(title=title, in_course=in_course, start=start, end=end)


def _course(told: Told, state: State) -> tuple[str, bool]:
    """The phase of the first item still outstanding, the last phase if none is; or the mode."""
    if state.mode is Mode.CLOSED:
        return "", False
    if state.mode not in (Mode.IN_COURSE, Mode.PAUSING):
        return state.mode.value.replace("_", " ").capitalize(), False
    left = told.conduct.outstanding(told.procedure, state)
    phase = told.procedure.phase_of[left[0]] if left else told.procedure.phases[-1]
    return phase.title, True


def acts(told: Told, stood: Sequence[Span]) -> Iterator[Act]:
    """Every clipping and dividing on record."""
    left = ""
    for step in told.steps:
        fact = step.record.fact
        if isinstance(fact, facts.BailedOut | facts.Overridden):
            left = because(told, fact)
        elif isinstance(fact, facts.Stated | facts.Noted) and _kind(told, fact.item) is Kind.ACT:
            yield Act(
                at=step.at,
                name=told.name(fact.item),
                during=left if isinstance(fact, facts.Noted) else "",
                criteria=_stood(told, stood, Kind.CRITERION, step.at),
                pause=_stood(told, stood, Kind.PAUSE, step.at)[0],
            )


def _stood(told: Told, spans: Sequence[Span], kind: Kind, at: Moment) -> tuple[Stood, ...]:
    return tuple(
        Stood(item=item.id, name=item.name, stood_s=_stood_s(spans, item.id, at))
        for item in told.procedure.items
        if item.kind is kind
    )


def _kind(told: Told, item: str) -> Kind:
    return told.procedure.item(item).kind


def _stood_s(spans: Sequence[Span], item: str, at: Moment) -> float | None:
    for span in spans:
        stands = span.start.line < at.line and (span.end is None or span.end.line > at.line)
        if span.item == item and span.satisfies and stands:
            return at.since_s - span.start.since_s
    return None


def pause(told: Told) -> Pause:
    """How often the pause was begun and held."""
    done = [step.record.fact for step in told.steps]
    held = [
        fact
        for fact in done
        if isinstance(fact, facts.Stated) and _kind(told, fact.item) is Kind.PAUSE
    ]
    return Pause(
        begun=sum(isinstance(fact, facts.PauseBegun) for fact in done),
        held=len(held),
    )
