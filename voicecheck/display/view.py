"""Turns a case into the View that the prompt display shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.facts import Fact, Record
from voicecheck.core.inputs import Answer, CloseRecord
from voicecheck.core.procedure import Item, Kind
from voicecheck.core.state import ASIDE, Mode
from voicecheck.core.wording import JOURNAL_FAILED
from voicecheck.display import captions
from voicecheck.display.screen import (
    Asked,
    Asking,
    Barrier,
    Gate,
    Hearing,
    LastHeard,
    Line,
    Machine,
    Mark,
    Outcome,
    Outstanding,
    ShownPhase,
    View,
)


def view(case: Case, record: Record, *, listening: bool) -> View:
    """The case after `record`; `listening` is false while the machine speaks."""
    return View(
        line=record.seq,
        title=case.procedure.head.title,
        case=case.opened.case,
        opened_utc=case.opened_at.utc,
        at_utc=record.at.utc,
        machine=_machine(case, listening=listening),
        asked=_asked(case, record),
        phases=tuple(_phases(case)),
        gate=_gate(case),
        outstanding=_outstanding(case),
        heard=_heard(case, case.last_heard) if case.last_heard else None,
        caution=case.opened.caution,
    )


def stopped(last: View, why: str) -> View:
    """The last view, changed to say that recording has stopped, and why."""
    word, sentence = captions.STOPPED
    text = Asked(kind=Asking.NOTICE, text=JOURNAL_FAILED, wait_s=0.0, say_label="", say=())
    off = replace(last.machine, hearing=Hearing.OFF, word=captions.OFF, messages=(why,))
    gate = Gate(barrier=Barrier.STOPPED, word=word, sentence=sentence)
    return replace(
        last,
        asked=text,
        machine=off,
        gate=gate,
        phases=tuple(replace(phase, current=False) for phase in last.phases),
        outstanding=Outstanding(label="", names=(), asked_first=False),
        heard=None,
    )


def _machine(case: Case, *, listening: bool) -> Machine:
    failing = case.failing
    hearing = _hearing(case, listening=listening)
    since = min((record.at.utc for record in failing.values()), default="")
    return Machine(
        hearing=hearing,
        word=_HEARING_WORDS[hearing],
        trouble=captions.trouble(failing, since),
        messages=tuple(getattr(record.cause, "message", "") for record in failing.values()),
    )


def _hearing(case: Case, *, listening: bool) -> Hearing:
    if case.state.mode is Mode.CLOSED:
        return Hearing.OFF
    if captions.HEARING & set(case.failing):
        return Hearing.DEAF
    return Hearing.LISTENING if listening else Hearing.SPEAKING


_HEARING_WORDS = {
    Hearing.LISTENING: captions.LISTENING,
    Hearing.SPEAKING: captions.SPEAKING,
    Hearing.DEAF: captions.DEAF,
    Hearing.OFF: captions.OFF,
}


def _asked(case: Case, record: Record) -> Asked:
    kind, text = _text(case)
    wait_s = 0.0 if case.due_us is None else max(0, case.due_us - record.at.mono_us) / 1e6
    answerable = kind in (Asking.QUESTION, Asking.READ_BACK)
    return Asked(
        kind=kind,
        text=text,
        wait_s=wait_s,
        say_label=captions.say_label(case) if answerable else "",
        say=captions.to_say(case) if answerable else (),
    )


def _text(case: Case) -> tuple[Asking, str]:
    """What waits for a reply comes first; a remark stays until something else is accepted."""
    if case.state.pending is not None:
        return Asking.READ_BACK, case.conduct.read_back(case)
    if case.state.mode is Mode.PAUSING:
        return Asking.PAUSE, case.conduct.ask(case)
    remark = captions.remark(case, case.last_taken.fact) if case.last_taken else ""
    if remark and case.state.mode is not Mode.CLOSED:
        return Asking.REMARK, remark
    in_course = case.state.mode is Mode.IN_COURSE
    return Asking.QUESTION if in_course else Asking.NOTICE, case.conduct.ask(case)


def _phases(case: Case) -> Iterator[ShownPhase]:
    now, gated = _item_now(case), False
    for phase in case.procedure.phases:
        gated = gated or any(item.kind is Kind.ACT for item in phase.items)
        yield ShownPhase(
            title=phase.title,
            lines=tuple(_line(case, item) for item in phase.items),
            current=now in {item.id for item in phase.items},
            gated=gated,
        )


def _item_now(case: Case) -> str:
    """The item that waits for a confirm, or the first outstanding; "" if no item is asked."""
    in_course = case.state.mode in (Mode.IN_COURSE, Mode.PAUSING)
    if not in_course or isinstance(case.state.pending, CloseRecord):
        return ""
    if isinstance(case.state.pending, Answer):
        return case.state.pending.item
    return next(iter(case.outstanding()), "")


def _line(case: Case, item: Item) -> Line:
    place = case.procedure.index[item.id]
    answer = case.state.standing[place]
    if not answer:
        return Line(name=item.name, mark=Mark.OPEN, says="", since_utc="")
    stands = case.conduct.satisfied(case.procedure, case.state.standing, place)
    return Line(
        name=item.name,
        mark=Mark.STANDS if stands else Mark.SHORT,
        says=item.answer(answer).says,
        since_utc=case.stated_at[item.id].utc,
    )


def _gate(case: Case) -> Gate:
    word, sentence = captions.gate(case)
    barrier = _BARRIERS.get(case.state.mode)
    if barrier is None:
        missing = case.gate_missing()
        barrier = Barrier.CLOSED if missing else Barrier.OPEN
    return Gate(barrier=barrier, word=word, sentence=sentence)


_BARRIERS = {
    Mode.STANDING_BY: Barrier.STANDING_BY,
    Mode.BAILED_OUT: Barrier.BAILED_OUT,
    Mode.EMERGENCY: Barrier.EMERGENCY,
    Mode.CLOSED: Barrier.RECORD_CLOSED,
}


def _outstanding(case: Case) -> Outstanding:
    label, left = _left(case)
    kind, _ = _text(case)
    in_course = case.state.mode is Mode.IN_COURSE
    return Outstanding(
        label=label,
        names=tuple(case.procedure.item(item).name for item in left),
        asked_first=kind is Asking.QUESTION or (kind is Asking.REMARK and in_course),
    )


def _left(case: Case) -> tuple[str, tuple[str, ...]]:
    """The heading of the list, and the items in it."""
    if isinstance(case.state.pending, CloseRecord):
        return captions.NOT_YET_STATED, case.outstanding()
    if case.last_taken and _text(case)[0] is Asking.REMARK:
        match case.last_taken.fact:
            case facts.Refused(outstanding=missing) if missing:
                return captions.NOT_YET_STATED, missing
    aside = case.state.mode in ASIDE
    gated = () if case.state.mode is Mode.CLOSED else case.gate_missing()
    left = () if aside else gated or case.outstanding()
    return captions.outstanding_label(case), left


def _heard(case: Case, record: Record) -> LastHeard:
    how, words = captions.heard(case, record)
    return LastHeard(
        how=how,
        words=words,
        outcome=_outcome(record.fact),
        taken=captions.taken(record.fact),
    )


def _outcome(fact: Fact) -> Outcome:
    match fact:
        case facts.Refused() | facts.Retracted() | facts.Lapsed() | facts.Expired():
            return Outcome.REFUSED
        case facts.NotUnderstood():
            return Outcome.IGNORED
        case facts.Proposed() | facts.CloseProposed() | facts.PauseBegun():
            return Outcome.WAITING
        case _:
            return Outcome.TAKEN
