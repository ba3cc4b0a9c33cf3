"""The case in one sentence: what was stated, in what order, and how the record ended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.core.state import Mode
from voicecheck.review.findings import Act, Asked, Departure, Happening, Statement
from voicecheck.review.trace import Trace


def in_one_sentence(
    trace: Trace,
    *,
    asked: Sequence[Asked],
    statements: Sequence[Statement],
    acts: Sequence[Act],
    refusals: Sequence[Happening],
    departures: Sequence[Departure],
) -> str:
    """The summary: clauses separated by semicolons, with a full stop at the end."""
    last = trace.steps[-1]
    closed = "closed" if last.state_after.mode is Mode.CLOSED else "not closed"
    clauses = (
        f"{trace.procedure.head.title}, {duration(last.at.since_s)}",
        _stated(asked, statements),
        *_acts(acts),
        *_counted(len(refusals), "command was", "commands were"),
        *_left(departures),
        f"the record was {closed}",
    )
    return f"{'; '.join(clauses)}."


def duration(seconds: float) -> str:
    """Hours, minutes and whole seconds, rounded down: "1 h 02 min 03 s"."""
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02} min {rest:02} s"
    return f"{minutes} min {rest:02} s" if minutes else f"{rest} s"


def _stated(asked: Sequence[Asked], statements: Sequence[Statement]) -> str:
    required = [one for one in asked if one.required]
    named = {one.item for one in statements if one.satisfies and not one.outside}
    stated, stood = sum(one.item in named for one in required), sum(one.stands for one in required)
    clause = f"{stated} of {len(required)} required items were stated"
    return (
        f"{clause} and stood at the end"
        if stood == stated
        else f"{clause}, {stood} of them still stood at the end"
    )


def _acts(acts: Sequence[Act]) -> Iterator[str]:
    """The first act in the course and those noted outside it, in the order of the log."""
    outside, inside = [act for act in acts if act.during], [act for act in acts if not act.during]
    within = " in the course" if outside else ""
    clauses: list[tuple[int, str]] = []
    if outside:
        clauses.append((outside[0].at.line, _outside(outside)))
    if inside:
        clauses.append((inside[0].at.line, _first(inside[0], within)))
    yield from (clause for _, clause in sorted(clauses))
    if not inside:
        yield f"no clipping or dividing was stated{within}"


def _outside(acts: Sequence[Act]) -> str:
    names = ", ".join(dict.fromkeys(act.name for act in acts))
    ways = ", ".join(dict.fromkeys(act.during for act in acts))
    return f"{names} noted outside the course ({ways})"


def _first(first: Act, within: str) -> str:
    when = f"when the first act{within} ({first.name}) was stated"
    stood_s = [one.stood_s for one in first.criteria if one.stood_s is not None]
    if len(stood_s) < len(first.criteria):
        return f"{when}, {len(stood_s)} of {len(first.criteria)} criteria stood"
    pause = "the pause had been taken" if first.pause.stood_s is not None else "without the pause"
    number = _NUMBERS.get(len(stood_s), str(len(stood_s)))
    return f"{when}, all {number} criteria had stood for {duration(min(stood_s))} and {pause}"


def _left(departures: Sequence[Departure]) -> Iterator[str]:
    if departures:
        ways = ", then ".join(one.what for one in departures)
        yield f"the course was left ({ways})"


_NUMBERS = {2: "two", 3: "three", 4: "four"}


def _counted(number: int, one: str, many: str) -> Iterator[str]:
    if number:
        yield f"{number} {one if number == 1 else many} refused"
