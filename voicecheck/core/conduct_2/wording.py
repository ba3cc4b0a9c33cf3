"""What the machine answers, word for word: one short text per fact, the operative word last.

It never says that something is so, only that it was stated.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import assert_never

from voicecheck.core import facts
from voicecheck.core.facts import Doubt, Record, Why
from voicecheck.core.inputs import Answer, CloseRecord
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode, Situation
from voicecheck.core.wording import CLOSING, HELP_CALLED, OTHER_SHAPE, took

from .rules import is_critical
from .standing import gate_missing, outstanding


def spoken(case: Situation, record: Record) -> str:
    """What the machine says once this record is believed; "" for silence.

    An open read-back is asked again after whatever else is said: a "confirm" confirms the last
    words that a person heard.
    """
    text, asked = _told(case, record), read_back(case)
    return text if text.endswith(asked) or not text else _join(text, asked)


def _told(case: Situation, record: Record) -> str:  # noqa: C901, PLR0911, PLR0912
    """The answer to the fact itself.

    One case per fact: longer than most functions, and clearer than any way to split it.
    """
    fact = record.fact
    match fact:
        case facts.Opened():
            title = f"{case.procedure.head.title}. Research and training only."
            return _join(title, _other_shape(case), ask(case))
        case facts.Proposed() | facts.CloseProposed():
            return read_back(case)
        case facts.Stated():
            return _stated(case, fact)
        case facts.Noted(item=item, answer=answer):
            return f"{_says(case, item, answer)}. Noted, outside the standard course."
        case facts.Retracted(item=item):
            return f"Not recorded: {_name(case, item)}."
        case facts.Lapsed(item=item):
            return f"No reply. Not recorded: {_name(case, item)}."
        case facts.Withdrawn(item=item, lapsed=lapsed):
            return _join(f"Withdrawn: {_name(case, item)}.", _state_again(case, lapsed))
        case facts.PauseBegun():
            return f"Hands still. {case.procedure.head.pause_s} seconds."
        case facts.Occurred(event=event, lapsed=lapsed):
            remark = case.procedure.file.events[event]
            return _join(remark.says, _state_again(case, lapsed))
        case facts.Cautioned(caution=caution, lapsed=lapsed):
            remark = case.procedure.file.cautions[caution]
            return _join(remark.says, _state_again(case, lapsed))
        case facts.HelpCalled(lapsed=lapsed):
            return _join(HELP_CALLED, _state_again(case, lapsed))
        case facts.Expired(lapsed=lapsed):
            return _join("Stated too long ago.", _state_again(case, lapsed))
        case facts.BailedOut(way=way):
            return f"{case.procedure.file.bail_outs[way].says} Bail-out noted."
        case facts.Overridden():
            return "Emergency noted. The checklist steps aside."
        case facts.StoodBy(lapsed=lapsed):
            return _join("Standing by.", _state_again(case, lapsed))
        case facts.Resumed():
            return _join("Carrying on.", ask(case))
        case facts.Repeated():
            return case.last_said or ask(case)
        case facts.Listed():
            return what_is_outstanding(case)
        case facts.Refused():
            return _refused(case, fact)
        case facts.Failed(part="clock") | facts.Recovered(part="clock"):
            return ""  # the room can do nothing about it, and the case does not depend on it
        case facts.Failed(part="display"):
            return "Display in trouble. Go on by voice."
        case facts.Failed(part=part):
            return f"{part.capitalize()} in trouble. Use the entry by hand."
        case facts.Recovered(part=part):
            return f"{part.capitalize()} works again."
        case facts.Reopened(gap_s=gap_s, lapsed=lapsed):
            gap = f"Record taken up again{_after(gap_s)}."
            told = _state_again(case, lapsed)
            return _join(gap, _other_shape(case), _last_on_record(case), told, ask(case))
        case facts.Closed(outstanding=rest):
            return _join("Record closed.", _never_stated(case, rest))
        case facts.NotUnderstood(why=Doubt.UNSURE):
            return "Say again."
        case facts.NotUnderstood() | facts.Spoke():
            return ""
        case _:
            assert_never(fact)


def _other_shape(case: Situation) -> str:
    return "" if case.opened.as_shipped else OTHER_SHAPE


def _after(gap_s: float) -> str:
    return f" after {_minutes(gap_s)}" if gap_s >= 0 else "; nobody knows after how long"


def _last_on_record(case: Situation) -> str:
    """What the room may take for lost, because the machine stopped before it could answer."""
    if case.last_taken is None:
        return ""
    fact, cause = case.last_taken.fact, case.last_taken.cause
    said = getattr(cause, "text", "").removeprefix(f"{case.procedure.common.listening.address} ")
    what = _name(case, fact.item) if hasattr(fact, "item") else said
    named = f"{what}, " if what else ""
    waited = isinstance(fact, facts.Proposed | facts.CloseProposed | facts.PauseBegun)
    return f"Last on record: {named}{'not confirmed' if waited else took(fact)}."


def _minutes(seconds: float) -> str:
    minutes = round(seconds / 60)
    if minutes < 1:
        return "less than a minute"
    return f"{minutes} minute{'s' if minutes > 1 else ''}"


def ask(case: Situation) -> str:
    """What is asked now, in the wording of this case."""
    match case.state.mode:
        case Mode.STANDING_BY:
            return "Standing by."
        case Mode.BAILED_OUT:
            return "Bailed out of the standard course."
        case Mode.EMERGENCY:
            return "Emergency: the checklist stands aside."
        case Mode.CLOSED:
            return "Record closed."
        case Mode.PAUSING:
            return "Hands still."
        case Mode.IN_COURSE:
            return read_back(case) or _next_question(case)
        case _:
            assert_never(case.state.mode)


def read_back(case: Situation) -> str:
    """The question that waits for confirm or negative; "" when none does."""
    match case.state.pending:
        case Answer(item=item, answer=answer):
            if case.procedure.item(item).kind is Kind.PAUSE:
                return "Time. Take the second look. Pause held: confirm?"
            return f"{_says(case, item, answer)}: confirm?"
        case CloseRecord():
            rest = len(outstanding(case.procedure, case.state))
            return f"Close the record, {rest or 'nothing'} outstanding: confirm?"
        case None:
            return ""
        case _:
            assert_never(case.state.pending)


def what_is_outstanding(case: Situation) -> str:
    """What keeps the gate closed; once it is open, what else is outstanding."""
    gate = gate_missing(case.procedure, case.state)
    if gate:
        return f"Outstanding before any clip: {_names(case, gate)}."
    rest = outstanding(case.procedure, case.state)
    return f"Outstanding: {_names(case, rest)}." if rest else "Nothing outstanding."


def _next_question(case: Situation) -> str:
    left = outstanding(case.procedure, case.state)
    if not left:
        return "Nothing outstanding. Close the record when ready."
    item = case.procedure.item(left[0])
    return item.brief if case.opened.wording == "brief" else item.ask


def _next(case: Situation) -> str:
    """The next question, marked off from what was just stated."""
    left = outstanding(case.procedure, case.state)
    question = _next_question(case)
    return f"Next: {question[0].lower()}{question[1:]}" if left else question


def _stated(case: Situation, fact: facts.Stated) -> str:
    item = case.procedure.item(fact.item)
    words = item.answer(fact.answer)
    fell = _state_again(case, fact.lapsed)
    if not words.satisfies:
        return _join(f"{_says(case, fact.item, fact.answer)}.", fell)
    # A critical item was read back a moment ago: say only that it is now on record.
    read = is_critical(item)
    told = "Stated." if read else f"Stated: {words.says}."
    return _join(told, fell, _next(case))


def _refused(case: Situation, fact: facts.Refused) -> str:
    match fact.why:
        case Why.OUTSTANDING:
            names = _names(case, fact.outstanding)
            return f"Refused: {_name(case, fact.item)}. Not yet stated: {names}."
        case Why.STALE:
            return "Not taken: that replied to an earlier question."
        case Why.NOT_STANDING:
            return f"Nothing to withdraw: {_name(case, fact.item)} does not stand."
        case Why.STANDING_BY:
            return f"Standing by. To go on, say: {carry_on(case)}."
        case _:
            return f"Not now. {ask(case)}"


def carry_on(case: Situation) -> str:
    """The phrase that returns to the course."""
    common = case.procedure.common
    return f"{common.listening.address} {common.control.carry_on[0]}"


def _state_again(case: Situation, lapsed: tuple[str, ...]) -> str:
    return f"State again: {_names(case, lapsed)}." if lapsed else ""


def _never_stated(case: Situation, rest: tuple[str, ...]) -> str:
    return f"Not stated: {_names(case, rest)}." if rest else ""


def _names(case: Situation, items: Iterable[str]) -> str:
    return "; ".join(case.procedure.item(item).name for item in items)


def _name(case: Situation, item: str) -> str:
    return case.procedure.item(item).name if item else CLOSING


def _says(case: Situation, item: str, answer: str) -> str:
    says = case.procedure.item(item).answer(answer).says
    return says[0].upper() + says[1:]


def _join(*texts: str) -> str:
    return " ".join(text for text in texts if text)
