"""The words that are shown but not spoken, short enough to be read from three metres."""

from __future__ import annotations

from collections.abc import Collection
from typing import assert_never

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.facts import Fact, Record, Why
from voicecheck.core.inputs import UNKNOWN, Entered, Heard
from voicecheck.core.procedure import Procedure
from voicecheck.core.state import ASIDE, Mode
from voicecheck.core.wording import CLOSING, HELP_CALLED, NOT_AS_REQUIRED, took

HEARING = frozenset({"microphone", "recogniser"})
"""If one of these parts fails, no voice reaches the case."""

LISTENING = "Listening"
SPEAKING = "Speaking"
DEAF = "Deaf"
OFF = "Off"

HELP = "help"

REHEARSAL = "Rehearsal"
"""The mark of a record that is of no operation."""

STOPPED = ("Recording stopped", "nothing new is kept")
"""Shown in the gate's place once the log can no longer be written."""


def gate(case: Case) -> tuple[str, str]:
    """The gate's word and its short sentence."""
    match case.state.mode:
        case Mode.STANDING_BY:
            return "Standing by", "nothing is asked"
        case Mode.BAILED_OUT:
            return "Bailed out", "statements are noted only"
        case Mode.EMERGENCY:
            return "Emergency", "the checklist stands aside"
        case Mode.CLOSED:
            return "Record closed", f"{len(case.outstanding()) or 'nothing'} left unstated"
        case Mode.IN_COURSE | Mode.PAUSING:
            missing, before = case.gate_missing(), case.procedure.file.say.gate
            if missing:
                return "Gate closed", f"{len(missing)} outstanding before {before}"
            return "Gate open", f"all before {before} stated"
        case _:
            assert_never(case.state.mode)


def missing(case: Case) -> str:
    """The heading of what is outstanding."""
    if case.state.mode is Mode.CLOSED:
        return "Left unstated"
    return (
        f"Outstanding before {case.procedure.file.say.gate}" if case.gate_missing() else OUTSTANDING
    )


OUTSTANDING = "Outstanding"

NOT_YET_STATED = "Not yet stated"
"""The heading of what a refusal names, or of what closing would leave unstated."""


def to_say(case: Case) -> tuple[str, ...]:
    """What may be said to what is asked or shown, without the address word.

    One phrase for every answer of the item, even those that do not satisfy.
    """
    common = case.procedure.common
    if case.state.pending is not None:
        return common.reply.confirm[0], common.reply.negative[0]
    match case.state.mode:
        case Mode.STANDING_BY | Mode.BAILED_OUT | Mode.EMERGENCY:
            return (common.control.carry_on[0],)
        case Mode.PAUSING | Mode.CLOSED:
            return ()
        case Mode.IN_COURSE:
            left = case.outstanding()
            if not left:
                return (common.control.close[0],)
            return tuple(words.phrases[0] for words in case.procedure.item(left[0]).answers)
        case _:
            assert_never(case.state.mode)


def say_label(case: Case) -> str:
    """What comes before the phrases; it never says "say" while a part of the machine fails."""
    if case.state.mode is Mode.CLOSED:
        return f"{_sentence(gate(case)[1])}."
    if not to_say(case):
        return ""
    address = f"“{case.procedure.common.listening.address}”"
    if HEARING & set(case.failing):
        way = "enter by hand:"
    elif case.failing:
        way = "answer:"
    else:
        way = "say" if case.state.pending is not None else f"say {address} and"
    if case.state.pending is None and case.state.mode in ASIDE:
        return f"To come back, {way}"
    if case.state.pending is None and case.state.mode is Mode.STANDING_BY:
        return f"To go on, {way}"
    return _sentence(way)


def remark(case: Case, fact: Fact) -> str:  # noqa: PLR0911 - one line a fact
    """What the machine remarks on this fact; "" if nothing."""
    file = case.procedure.file
    match fact:
        case facts.Occurred(event=event):
            return f"{_sentence(file.events[event].name)}. {file.events[event].says}"
        case facts.Cautioned(caution=caution):
            return file.cautions[caution].says
        case facts.BailedOut(way=way):
            return file.bail_outs[way].says
        case facts.HelpCalled():
            return HELP_CALLED
        case facts.Expired():
            return f"{_sentence(took(fact))}."
        case facts.Stated(item=item, answer=answer) if is_unsafe(case.procedure, fact):
            return f"{_sentence(case.procedure.item(item).answer(answer).says)}."
        case _:
            return ""


def heard(case: Case, record: Record) -> tuple[str, str]:
    """How an input came, and its words without the address word; "" if there are none."""
    address = f"{case.procedure.common.listening.address} "
    match record.cause:
        case Heard(text=text):
            words = "" if text == UNKNOWN else text.removeprefix(address)
            return "Heard", words
        case Entered(text=text):
            return "Entered", text.removeprefix(address)
        case _:
            return "Expired" if isinstance(record.fact, facts.Expired) else "No reply", ""


def taken(case: Case, fact: Fact) -> str:
    """How an input was taken and what it is about; if it was refused, why."""
    about = _about(case, fact)
    match fact:
        case facts.Refused(outstanding=(one,)):
            return f"refused: {about}, {called(case, one)} missing"
        case facts.Refused(outstanding=(_, *_) as several):
            return f"refused: {about}, {len(several)} missing"
        case facts.Refused(why=why):
            return f"refused: {_REFUSED.get(why, 'not now')}"
        case facts.Listed():
            left = case.gate_missing() or case.outstanding()
            return f"{len(left) or 'nothing'} outstanding"
        case facts.Closed():
            return took(fact)
        case _:
            how = taken_as(case.procedure, fact)
            return f"{how}: {about}" if about else how


def taken_as(procedure: Procedure, fact: Fact) -> str:
    """How an input was taken, in a few words; an unsafe answer is never plainly stated."""
    return f"{took(fact)}{NOT_AS_REQUIRED if is_unsafe(procedure, fact) else ''}"


def is_unsafe(procedure: Procedure, fact: Fact) -> bool:
    """Whether it is an answer that does not satisfy its item."""
    if not isinstance(fact, facts.Stated | facts.Noted):
        return False
    return not procedure.item(fact.item).answer(fact.answer).satisfies


def called(case: Case, item: str) -> str:
    """The item in a word or two; closing the record, if it is none."""
    return case.procedure.item(item).called if item else CLOSING


def fell(case: Case, record: Record) -> str:
    """How an item fell, by the record by which it did."""
    if isinstance(record.fact, facts.Withdrawn):
        return f"withdrawn: {called(case, record.fact.item)}"
    return f"lapsed: {_cause(case, record.fact)}"


def left(case: Case, fact: Fact) -> str:
    """How the course was left, before the time."""
    match fact:
        case facts.Overridden():
            return "aside since"
        case facts.StoodBy():
            return "standing by since"
        case _:
            return _about(case, fact)


def _cause(case: Case, fact: Fact) -> str:
    match fact:
        case facts.Expired():
            return "too long ago"
        case facts.HelpCalled():
            return "help called"
        case facts.Overridden():
            return "emergency"
        case facts.Reopened():
            return "gap in the record"
        case facts.StoodBy():
            return "standing by"
        case _:
            return _about(case, fact) or took(fact)


def _about(case: Case, fact: Fact) -> str:
    file = case.procedure.file
    match fact:
        case facts.Occurred(event=event):
            return file.events[event].name
        case facts.Cautioned(caution=caution):
            return file.cautions[caution].name
        case facts.BailedOut(way=way):
            return file.bail_outs[way].name
        case facts.CloseProposed():
            return CLOSING
        case _:
            return called(case, fact.item) if hasattr(fact, "item") else ""


_REFUSED = {
    Why.NOT_STANDING: "nothing to withdraw",
    Why.STANDING_BY: "standing by",
    Why.STALE: "to an earlier question",
    Why.UNSETTLED: "not so, or in doubt",
}


def trouble(failing: Collection[str]) -> str:
    """Which parts fail; "" if none does."""
    parts = ", ".join(failing) if len(failing) < 3 else f"{len(failing)} parts"
    return f"{_sentence(parts)} out" if parts else ""


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
