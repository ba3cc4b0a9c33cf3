"""Turns a case into the View that the prompt display shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.facts import Fact, Record
from voicecheck.core.inputs import Answer, CloseRecord
from voicecheck.core.past import Past
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
    ShownPhase,
    Told,
    View,
)


def view(case: Case, record: Record, *, listening: bool) -> View:
    """The case after `record`; `listening` is false while the machine speaks."""
    label, left = _missing(case)
    return View(
        line=record.seq,
        title=case.procedure.head.title,
        case=case.opened.case,
        rehearsal=captions.REHEARSAL if case.opened.rehearsal else "",
        opened_utc=case.opened_at.utc,
        at_utc=record.at.utc,
        machine=_machine(case, listening=listening),
        asked=_asked(case, record),
        phases=tuple(_phases(case, case.past, frozenset(left))),
        gate=_gate(case),
        missing=label if left else "",
        answer=_answer(case, case.last_taken) if case.last_taken else None,
        heard=_heard(case, case.last_heard) if case.last_heard else None,
        kept=tuple(_kept(case, case.past)),
        caution=case.opened.caution,
    )


def stopped(last: View, why: str) -> View:
    """The last view, changed to say that recording has stopped, and why."""
    word, sentence = captions.STOPPED
    text = Asked(kind=Asking.NOTICE, text=JOURNAL_FAILED, wait_s=0.0, say_label=why, say=())
    off = replace(last.machine, hearing=Hearing.OFF, word=captions.OFF, messages=(why,))
    return replace(
        last,
        asked=text,
        machine=off,
        gate=Gate(barrier=Barrier.STOPPED, word=word, sentence=sentence),
        phases=tuple(_stilled(phase) for phase in last.phases),
        missing="",
        answer=None,
        heard=None,
        kept=(),
    )


def _stilled(phase: ShownPhase) -> ShownPhase:
    """A phase of which nothing is asked."""
    lines = tuple(replace(line, asked=False, missing=False) for line in phase.lines)
    return replace(phase, lines=lines, current=False)


def _machine(case: Case, *, listening: bool) -> Machine:
    failing = case.failing
    hearing = _hearing(case, listening=listening)
    return Machine(
        hearing=hearing,
        word=_HEARING_WORDS[hearing],
        trouble=captions.trouble(failing),
        since_utc=min((record.at.utc for record in failing.values()), default=""),
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
    return Asked(
        kind=kind,
        text=text,
        wait_s=0.0 if case.due_us is None else max(0, case.due_us - record.at.mono_us) / 1e6,
        say_label=captions.say_label(case),
        say=captions.to_say(case),
    )


def _text(case: Case) -> tuple[Asking, str]:
    if case.state.pending is not None:
        return Asking.READ_BACK, case.conduct.read_back(case)
    kinds = {Mode.PAUSING: Asking.PAUSE, Mode.IN_COURSE: Asking.QUESTION}
    return kinds.get(case.state.mode, Asking.NOTICE), case.conduct.ask(case)


def _phases(case: Case, past: Past, missing: frozenset[str]) -> Iterator[ShownPhase]:
    now, gated = _item_now(case), False
    for phase in case.procedure.phases:
        gated = gated or any(item.kind is Kind.ACT for item in phase.items)
        lines = (_line(case, past, item) for item in phase.items)
        yield ShownPhase(
            title=phase.title,
            lines=tuple(
                replace(line, missing=item.id in missing, asked=item.id == now)
                for line, item in zip(lines, phase.items, strict=True)
            ),
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


def _line(case: Case, past: Past, item: Item) -> Line:
    mark, word, since_utc = _state(case, past, item)
    return Line(
        name=item.name,
        label=item.called,
        mark=mark,
        word=word,
        since_utc=since_utc,
        missing=False,
        asked=False,
    )


def _state(case: Case, past: Past, item: Item) -> tuple[Mark, str, str]:
    """An item's mark, the word for it, and since when."""
    place = case.procedure.index[item.id]
    if answer := case.state.standing[place]:
        stands = case.conduct.satisfied(case.procedure, case.state.standing, place)
        says, stated_at = item.answer(answer).says, case.stated_at[item.id].utc
        return Mark.STANDS if stands else Mark.UNSAFE, says, stated_at
    fell, noted = past.fell.get(item.id), past.noted.get(item.id)
    if noted is not None and (fell is None or fell.seq < noted.seq):
        return Mark.NOTED, captions.taken_as(case.procedure, noted.fact), noted.at.utc
    if fell is not None:
        return Mark.FELL, captions.fell(case, fell), fell.at.utc
    return Mark.OPEN, "", ""


def _gate(case: Case) -> Gate:
    word, sentence = captions.gate(case)
    barrier = _BARRIERS.get(case.state.mode)
    if barrier is None:
        barrier = Barrier.CLOSED if case.gate_missing() else Barrier.OPEN
    return Gate(barrier=barrier, word=word, sentence=sentence)


_BARRIERS = {
    Mode.STANDING_BY: Barrier.STANDING_BY,
    Mode.BAILED_OUT: Barrier.BAILED_OUT,
    Mode.EMERGENCY: Barrier.EMERGENCY,
    Mode.CLOSED: Barrier.RECORD_CLOSED,
}


def _missing(case: Case) -> tuple[str, tuple[str, ...]]:
    """The heading of what is missing, and the items."""
    if isinstance(case.state.pending, CloseRecord):
        return captions.NOT_YET_STATED, case.outstanding()
    if case.state.pending is None and case.state.mode is Mode.IN_COURSE and case.last_taken:
        match case.last_taken.fact:
            case facts.Refused(outstanding=missing) if missing:
                return captions.NOT_YET_STATED, missing
    if case.state.mode in ASIDE:
        return "", ()
    gated = () if case.state.mode is Mode.CLOSED else case.gate_missing()
    return captions.missing(case), gated or case.outstanding()


def _answer(case: Case, record: Record) -> Told | None:
    """A remark stays until something else is taken."""
    text = "" if case.state.mode is Mode.CLOSED else captions.remark(case, record.fact)
    mark = _mark(case, record.fact)
    return Told(mark=mark, text=text, at_utc=record.at.utc) if text else None


def _heard(case: Case, record: Record) -> LastHeard:
    how, words = captions.heard(case, record)
    return LastHeard(
        how=how,
        words=words,
        mark=_mark(case, record.fact),
        taken=captions.taken(case, record.fact),
        answered=record is case.last_taken,
    )


def _mark(case: Case, fact: Fact) -> Mark:
    match fact:
        case facts.Stated():
            return Mark.UNSAFE if captions.is_unsafe(case.procedure, fact) else Mark.STANDS
        case facts.Withdrawn() | facts.Expired():
            return Mark.FELL
        case facts.Refused() | facts.Retracted() | facts.Lapsed():
            return Mark.REFUSED
        case facts.NotUnderstood():
            return Mark.IGNORED
        case facts.Proposed() | facts.CloseProposed() | facts.PauseBegun():
            return Mark.WAITING
        case _:
            return Mark.NOTED


def _kept(case: Case, past: Past) -> Iterator[Told]:
    """What must not be forgotten: trouble, leaving the course, what fell, help, acts noted."""
    machine = _machine(case, listening=True)
    if case.state.mode is Mode.CLOSED:
        return
    if machine.trouble:
        yield Told(mark=Mark.TROUBLE, text=machine.trouble, at_utc=machine.since_utc)
    if past.left:
        text = captions.left(case, past.left.fact)
        yield Told(mark=Mark.NOTED, text=text, at_utc=past.left.at.utc)
    if past.helped:
        yield Told(mark=Mark.NOTED, text=captions.HELP, at_utc=past.helped.at.utc)
    by = {record.seq: record for record in past.fell.values()}
    for _, record in sorted(by.items(), reverse=True):
        if record is not past.left:
            yield Told(mark=Mark.FELL, text=captions.fell(case, record), at_utc=record.at.utc)
    if past.noted:
        item, last = max(past.noted.items(), key=lambda each: each[1].seq)
        yield Told(mark=Mark.NOTED, text=captions.called(case, item), at_utc=last.at.utc)
