"""The lines that a reviewer looks for: refusals, corrections, events, departures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.core import facts
from voicecheck.review.findings import Departure, Happening, Moment
from voicecheck.review.stated import because, statements
from voicecheck.review.summary import duration
from voicecheck.review.told import Step, Told

LED_AT_MOST = 5
"""How many notable lines before a departure are shown as what led there."""


def happening(step: Step, kind: str, what: str, why: str = "") -> Happening:
    """One line as a reviewer looks for it."""
    return Happening(at=step.at, kind=kind, what=what, why=why, cause=step.cause)


def refusals(told: Told) -> Iterator[Happening]:
    """What was not accepted, and the sentence that said why."""
    for step in told.steps:
        if isinstance(step.record.fact, facts.Refused):
            yield happening(step, "refused", step.cause.text, step.told)


def corrections(told: Told) -> Iterator[Happening]:
    """What was withdrawn, answered differently, or fell with something else."""
    for step in told.steps:
        fact = step.record.fact
        if isinstance(fact, facts.Withdrawn):
            yield happening(step, "withdrawn", told.name(fact.item))
        elif isinstance(fact, facts.Stated):
            was = step.before.standing[told.procedure.index[fact.item]]
            if was not in ("", fact.answer):
                yield happening(
                    step,
                    "answered anew",
                    told.name(fact.item),
                    f"{told.says(fact.item, was)} → {told.says(fact.item, fact.answer)}",
                )
        lapsed: tuple[str, ...] = getattr(fact, "lapsed", ())
        if lapsed:
            yield happening(step, "lapsed", told.names(lapsed), because(told, fact))


def events(told: Told) -> Iterator[Happening]:
    """What happened besides statements."""
    for step in told.steps:
        match step.record.fact:
            case facts.Occurred(event=event):
                yield happening(step, "event", told.procedure.file.events[event].name, step.told)
            case facts.Cautioned(caution=caution):
                name = told.procedure.file.cautions[caution].name
                yield happening(step, "caution", name, step.told)
            case facts.HelpCalled():
                yield happening(step, "help", "help called for")
            case facts.StoodBy():
                yield happening(step, "interruption", "standing by")
            case facts.Reopened(gap_s=gap_s):
                gap = f"nobody listened for {duration(gap_s)}"
                yield happening(step, "gap", gap, step.told)
            case facts.Resumed():
                yield happening(step, "interruption", "carrying on")
            case _:
                pass


def in_doubt(told: Told) -> Iterator[Happening]:
    """Truthful answers that keep the gate closed, such as more than two structures."""
    for statement in statements(told):
        if not statement.satisfies:
            yield Happening(
                at=statement.at,
                kind="answer",
                what=statement.name,
                why=statement.says,
                cause=statement.said,
            )


def departures(told: Told, notable: Sequence[Happening]) -> Iterator[Departure]:
    """Bail-outs and emergencies; `notable` in the order of the log."""
    since = 0
    for place, step in enumerate(told.steps):
        fact = step.record.fact
        if not isinstance(fact, facts.BailedOut | facts.Overridden):
            continue
        led = [happening for happening in notable if since < happening.at.line < step.at.line]
        yield Departure(
            at=step.at,
            what=because(told, fact),
            cause=step.cause,
            lapsed=tuple(told.name(item) for item in fact.lapsed),
            led=tuple(led[-LED_AT_MOST:]),
            resumed=_resumed(told.steps[place:]),
        )
        since = step.at.line


def _resumed(steps: tuple[Step, ...]) -> Moment | None:
    return next((step.at for step in steps if isinstance(step.record.fact, facts.Resumed)), None)
