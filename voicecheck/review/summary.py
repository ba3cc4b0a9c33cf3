"""The case in one sentence: what was stated, in what order, and how the record ended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.core.state import Mode
from voicecheck.review.findings import Act, Asked, Call, Departure, Happening, Statement
from voicecheck.review.trace import Trace


def in_one_sentence(
    trace: Trace,
    *,
    asked: Sequence[Asked],
    statements: Sequence[Statement],
    calls: Sequence[Call],
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
        *_called(calls),
        *_acts(acts),
        *_counted(refusals, calls),
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


def _called(calls: Sequence[Call]) -> Iterator[str]:
    """The first call for a clip or a division, and how many of all calls were refused."""
    if not calls:
        return
    first, refused = calls[0], sum(call.became == "refused" for call in calls)
    number = len(first.missing)
    missing = f" with {number} {'item' if number == 1 else 'items'} missing" if number else ""
    yield (
        f"a clip or division was first called for after {duration(first.at.since_s)} "
        f"({first.name}) and {first.became}{missing}"
    )
    if len(calls) > 1:
        yield f"of {len(calls)} such calls {refused} {'was' if refused == 1 else 'were'} refused"


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
    """When it was recorded, and how long the criteria had stood: no rule lets fewer stand."""
    when = f"the first act{within} ({first.name}) was recorded after {duration(first.at.since_s)}"
    stood_s = [one.stood_s for one in first.criteria if one.stood_s is not None]
    return f"{when}, when the criteria had stood for {duration(min(stood_s))}" if stood_s else when


def _left(departures: Sequence[Departure]) -> Iterator[str]:
    if departures:
        ways = ", then ".join(one.what for one in departures)
        yield f"the course was left ({ways})"


def _counted(refusals: Sequence[Happening], calls: Sequence[Call]) -> Iterator[str]:
    """How many commands were refused that were no call for a clip or a division."""
    lines = {call.at.line for call in calls}
    number = sum(one.at.line not in lines for one in refusals)
    if number:
        other = "other " if lines else ""
        yield f"{number} {other}{'command was' if number == 1 else 'commands were'} refused"
