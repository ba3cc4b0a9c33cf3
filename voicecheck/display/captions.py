"""The words that are shown but not spoken, short enough to be read from three metres."""

from __future__ import annotations

from collections.abc import Collection
from typing import assert_never

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.facts import Fact, Record, Why
from voicecheck.core.inputs import UNKNOWN, Entered, Heard
from voicecheck.core.state import ASIDE, Mode
from voicecheck.core.wording import HELP_CALLED, took

HEARING = frozenset({"microphone", "recogniser"})
"""If one of these parts fails, no voice reaches the case."""

LISTENING = "Listening"
SPEAKING = "Speaking, deaf"
DEAF = "Deaf: enter by hand"
OFF = "Not listening"

STOPPED = ("Recording stopped", "nothing new is kept")
"""Shown in the gate's place once the log can no longer be written."""


def gate(case: Case) -> tuple[str, str]:
    """The gate's word and its short sentence."""
    match case.state.mode:
        case Mode.STANDING_BY:
            return "Standing by", f"to go on, say: {case.conduct.carry_on(case)}"
        case Mode.BAILED_OUT:
            return "Bailed out", "statements are noted only"
        case Mode.EMERGENCY:
            return "Emergency", "the checklist stands aside"
        case Mode.CLOSED:
            rest = case.outstanding()
            return "Record closed", f"{len(rest) or 'nothing'} left unstated"
        case Mode.IN_COURSE | Mode.PAUSING:
            return _course_gate(case)
        case _:
            assert_never(case.state.mode)


def _course_gate(case: Case) -> tuple[str, str]:
    missing = case.gate_missing()
    if missing:
        return "Gate closed", f"{len(missing)} outstanding before any clip"
    return "Gate open", "all before clipping stated"


def outstanding_label(case: Case) -> str:
    """The heading of the list beside the course, or what to do if that list is empty."""
    match case.state.mode:
        case Mode.BAILED_OUT | Mode.EMERGENCY:
            return f"To come back, say: {case.conduct.carry_on(case)}"
        case Mode.CLOSED:
            return "Left unstated" if case.outstanding() else ""
        case _:
            gated = case.gate_missing()
            return "Outstanding before any clip" if gated else "Outstanding"


NOT_YET_STATED = "Not yet stated"
"""The heading of what a refusal names, or of what closing would leave unstated."""


def to_say(case: Case) -> tuple[str, ...]:
    """What may be said to the question or the read-back, without the address word.

    One phrase for every answer of the item, even those that do not satisfy.
    """
    common = case.procedure.common
    if case.state.pending is not None:
        return common.reply.confirm[0], common.reply.negative[0]
    left = case.outstanding()
    if not left:
        return (common.control.close[0],)
    return tuple(words.phrases[0] for words in case.procedure.item(left[0]).answers)


def say_label(case: Case) -> str:
    """The label before the phrases that may be said."""
    address = case.procedure.common.listening.address
    return "Say" if case.state.pending is not None else f"Say “{address}” and"


def remark(case: Case, fact: Fact) -> str:  # noqa: PLR0911 - one line a fact
    """What the machine remarks on this fact; "" if nothing."""
    file = case.procedure.file
    match fact:
        case facts.Occurred(event=event):
            return file.events[event].says
        case facts.Cautioned(caution=caution):
            return file.cautions[caution].says
        case facts.BailedOut(way=way):
            return file.bail_outs[way].says
        case facts.HelpCalled():
            return HELP_CALLED
        case facts.Expired():
            return f"{_sentence(took(fact))}."
        case facts.Refused(item=item, outstanding=missing) if missing:
            return f"Refused: {case.procedure.item(item).name}."
        case facts.Listed(outstanding=left) if left and case.state.mode not in ASIDE:
            return "What is outstanding:"
        case facts.Stated(item=item, answer=answer):
            words = case.procedure.item(item).answer(answer)
            return "" if words.satisfies else f"{_sentence(words.says)}."
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


def taken(fact: Fact) -> str:
    """How an input was taken, and if it was refused, why."""
    match fact:
        case facts.Refused(outstanding=missing) if missing:
            return f"refused: {len(missing)} not yet stated"
        case facts.Refused(why=why):
            return f"refused: {_REFUSED.get(why, 'not now')}"
        case _:
            return took(fact)


_REFUSED = {
    Why.NOT_STANDING: "nothing to withdraw",
    Why.STANDING_BY: "standing by",
    Why.STALE: "to an earlier question",
}


def trouble(failing: Collection[str], since_utc: str) -> str:
    """Which parts fail, and since when; "" if none does."""
    parts = ", ".join(failing) if len(failing) < 3 else f"{len(failing)} parts"
    return f"{_sentence(parts)} out since {minute(since_utc)}" if parts else ""


def minute(utc: str) -> str:
    """Hours and minutes of an RFC 3339 time, to be shown."""
    return utc[11:16]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
