"""How well the machine heard: what it misunderstood, when it was deaf or out of order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from statistics import median

from voicecheck.core import facts
from voicecheck.core.facts import Doubt
from voicecheck.core.inputs import Said
from voicecheck.core.wording import took
from voicecheck.review.findings import Deaf, Happening, Hearing, Moment, TroubleSpan, Utterance
from voicecheck.review.notable import happening
from voicecheck.review.trace import Step, Trace


def misunderstood(trace: Trace) -> Iterator[Happening]:
    """All that was not understood, asked again, denied or never answered."""
    read_back = Utterance(text="", source="machine")
    for step in trace.steps:
        match step.record.fact:
            case facts.NotUnderstood() as fact:
                yield happening(step, took(fact), step.cause.text)
            case facts.Proposed() | facts.CloseProposed():
                read_back = step.cause
            case facts.Retracted(item=item):
                yield happening(step, "negative", trace.name(item), _after_reading(read_back))
            case facts.Lapsed(item=item):
                yield happening(step, "no reply", trace.name(item), _after_reading(read_back))
            case facts.Repeated():
                yield happening(step, "asked again", "")
            case _:
                pass


def _after_reading(said: Utterance) -> str:
    sure = f", confidence {said.confidence:.2f}" if said.confidence is not None else ""
    return f'read back after "{said.text}"{sure}' if said.text else "read back after the pause"


def deaf(trace: Trace) -> Iterator[Deaf]:
    """All times in which the machine spoke."""
    for step in trace.steps:
        if isinstance(step.record.cause, Said):
            said = step.record.cause
            lasted_s = min(max(0.0, said.audio_to_s - said.audio_from_s), step.at.since_s)
            start_s = round(step.at.since_s - lasted_s, 6)
            yield Deaf(text=said.text, start_s=start_s, end_s=step.at.since_s)


def troubles(trace: Trace) -> Iterator[TroubleSpan]:
    """All times in which a part was out of order, from its first failure until it worked again.

    While an open record was not listened to, the whole program counts as out of order.
    """
    failing: dict[str, Step] = {}
    for before, step in pairwise(trace.steps):
        match step.record.fact:
            case facts.Failed(part=part):
                failing.setdefault(part, step)
            case facts.Recovered(part=part) if part in failing:
                yield _trouble(part, failing.pop(part), step.at)
            case facts.Reopened():
                yield TroubleSpan(
                    part="program", message="not running", start=before.at, end=step.at
                )
            case _:
                pass
    yield from (_trouble(part, first, None) for part, first in failing.items())


def _trouble(part: str, first: Step, end: Moment | None) -> TroubleSpan:
    return TroubleSpan(part=part, message=first.cause.text, start=first.at, end=end)


def hearing(trace: Trace) -> Hearing:
    """The counts and seconds of the whole log."""
    all_heard = [step for step in trace.steps if step.cause.source == "heard"]
    heard = [step for step in all_heard if not _is_over(step)]
    clear = [step for step in heard if not isinstance(step.record.fact, facts.NotUnderstood)]
    sure = [step.cause.confidence for step in clear if step.cause.confidence is not None]
    unclear = Counter(
        step.record.fact.why for step in heard if isinstance(step.record.fact, facts.NotUnderstood)
    )
    became = Counter(type(step.record.fact) for step in trace.steps)
    return Hearing(
        heard=len(heard),
        understood=len(clear),
        other_speech=unclear[Doubt.OTHER_SPEECH],
        not_understood=unclear[Doubt.NOT_A_PHRASE] + unclear[Doubt.NOT_UNDERSTOOD],
        reply_to_nothing=unclear[Doubt.NOTHING_TO_CONFIRM],
        unsure=unclear[Doubt.UNSURE],
        spoken_over=len(all_heard) - len(heard),
        negatives=became[facts.Retracted],
        no_replies=became[facts.Lapsed],
        asked_again=became[facts.Repeated],
        entered=sum(step.cause.source == "entered" for step in trace.steps),
        confidence_median=median(sure) if sure else None,
        confidence_lowest=min(sure, default=None),
        deaf_s=round(sum(span.end_s - span.start_s for span in deaf(trace)), 6),
        trouble_s=round(sum(_lasted_s(span, trace.steps[-1].at) for span in troubles(trace)), 6),
    )


def _is_over(step: Step) -> bool:
    return step.record.fact == facts.NotUnderstood(why=Doubt.SPOKEN_OVER)


def _lasted_s(span: TroubleSpan, ended: Moment) -> float:
    return (span.end or ended).since_s - span.start.since_s
