"""When a clip or a division was called for: what stood then, what was missing, what came of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.core import facts
from voicecheck.core.facts import Why
from voicecheck.core.inputs import Answer, Unclear, Unsettle
from voicecheck.core.procedure import Kind
from voicecheck.core.wording import took
from voicecheck.review.findings import Call, Span
from voicecheck.review.stated import because, stood
from voicecheck.review.trace import Step, Trace


def calls(trace: Trace, spans: Sequence[Span]) -> Iterator[Call]:
    """All calls for a clip or a division, in the order of the log.

    A call is a clip or a division that was stated, asked for or announced, whatever came of it. To
    deny one or to take one back is none.
    """
    departure = ""
    for place, step in enumerate(trace.steps):
        fact = step.record.fact
        if isinstance(fact, facts.BailedOut | facts.Overridden):
            departure = because(trace, fact)
        elif _is_call(trace, step):
            item = getattr(fact, "item", "")
            missing = getattr(fact, "outstanding", ()) or trace.conduct.gate_missing(
                trace.procedure, step.state_before
            )
            yield Call(
                at=step.at,
                item=item,
                name=trace.name(item),
                said=step.cause,
                became=_became(trace.steps[place:], item),
                during=departure if isinstance(fact, facts.Noted) else "",
                criteria=stood(trace, spans, Kind.CRITERION, step.at),
                pause=stood(trace, spans, Kind.PAUSE, step.at)[0],
                missing={each: trace.name(each) for each in missing},
            )


def _is_call(trace: Trace, step: Step) -> bool:
    fact = step.record.fact
    item = getattr(fact, "item", "")
    if not item or trace.procedure.item(item).kind is not Kind.ACT:
        return False
    match fact:
        case facts.Proposed() | facts.Noted():
            return True
        case facts.Refused(why=Why.OUTSTANDING | Why.STANDING_BY | Why.UNSETTLED):
            return _asks(trace, step.cause.text)
        case _:
            return False


def _asks(trace: Trace, text: str) -> bool:
    """Whether the words state, ask for or announce something, rather than deny or withdraw it."""
    address = trace.procedure.common.listening.address
    meant = trace.conduct.interpret(trace.procedure, text)
    if isinstance(meant, Unclear):  # the address word was said alone before it
        meant = trace.conduct.interpret(trace.procedure, f"{address} {text}")
    return isinstance(meant, Answer) or (isinstance(meant, Unsettle) and not meant.denied)


RECORDED = "recorded"
"""What a call became if it was confirmed."""


def _became(steps: Sequence[Step], item: str) -> str:
    """What came of the call in the first step."""
    fact, end = steps[0].record.fact, next(filter(_ends_read_back, steps[1:]), None)
    if not isinstance(fact, facts.Proposed) or end is None:
        return took(fact)
    recorded = isinstance(end.record.fact, facts.Stated) and end.record.fact.item == item
    return RECORDED if recorded else took(facts.Retracted(item=item))


def _ends_read_back(step: Step) -> bool:
    asks_anew = isinstance(step.record.fact, facts.Proposed | facts.CloseProposed)
    return asks_anew or step.state_after.pending is None
