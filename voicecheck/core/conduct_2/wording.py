"""What the machine answers, word for word: one short text per fact, the operative word last.

It never says that something is so, only that it was stated.
"""

from __future__ import annotations

import math
from typing import assert_never

from voicecheck.core import facts
from voicecheck.core.facts import Doubt, Fact, Record, Why
from voicecheck.core.inputs import Answer, CloseRecord
from voicecheck.core.procedure import Item, Kind
from voicecheck.core.state import Mode, Situation
from voicecheck.core.wording import AGAIN, CLOSING, HELP_CALLED, TAKEN, took

from .rules import is_critical
from .sentences import FIXED
from .standing import gate_missing, outstanding

NAMED_AT_ONCE = 3
"""More names in one sentence nobody keeps in mind (common practice, no source)."""


def spoken(case: Situation, record: Record) -> str:
    """What the machine says once this record is believed; "" for silence.

    An open read-back is asked again after whatever else is said: a reply answers the last words
    that a person heard.
    """
    text = _toned(case, record.fact) or _told(case, record)
    asked = read_back(case)
    return text if text.endswith(asked) or not text else _join(text, _asked_again(case))


def _asked_again(case: Situation) -> str:
    """The open read-back in fewer words, after whatever else is said."""
    match case.state.pending:
        case Answer(item=item, answer=answer):
            says = case.procedure.item(item).answer(answer).says
            return _fixed("shall_i_again", says=says)
        case _:
            return _fixed("again_close")


def _toned(case: Situation, fact: Fact) -> str:
    """The tone that stands for the answer, in the wording of a surgeon who knows it; "" for words.

    Read-backs, refusals and what falls stay words.
    """
    if case.opened.wording != "tones" or case.state.pending is not None:
        return ""
    match fact:
        case facts.Stated(item=item, answer=answer, lapsed=()):
            # What is critical was read back in words, and confirmed, a moment ago.
            return TAKEN if case.procedure.item(item).answer(answer).satisfies else ""
        case facts.NotUnderstood(why=Doubt.UNSURE):
            return AGAIN
        case _:
            return ""


def _told(case: Situation, record: Record) -> str:  # noqa: C901, PLR0911, PLR0912
    """The answer to the fact itself.

    One case per fact: longer than most functions, and clearer than any way to split it.
    """
    fact, file = record.fact, case.procedure.file
    match fact:
        case facts.Opened():
            title = f"{case.procedure.head.title}." if case.opened.as_shipped else ""
            return _join(title, _other_shape(case), _fixed("training"), _next(case, brief=True))
        case facts.Proposed() | facts.CloseProposed():
            return read_back(case)
        case facts.Stated():
            return _stated(case, fact)
        case facts.Noted(item=item, answer=answer):
            return _fixed("noted", says=_says(case, item, answer))
        case facts.Retracted(item=item):
            return _fixed("not_recorded", name=_name(case, item))
        case facts.Lapsed(item=item):
            return _fixed("unheard", name=_name(case, item))
        case facts.Withdrawn(item=item, lapsed=lapsed):
            return _join(_fixed("withdrawn", name=_name(case, item)), _state_again(case, lapsed))
        case facts.PauseBegun():
            seconds = _fixed("seconds", count=case.procedure.head.pause_s)
            return _join(file.say.pause_begins, seconds)
        case facts.Occurred(event=event, lapsed=lapsed):
            return _join(file.events[event].says, _state_again(case, lapsed))
        case facts.Cautioned(caution=caution, lapsed=lapsed):
            return _join(file.cautions[caution].says, _state_again(case, lapsed))
        case facts.HelpCalled(lapsed=lapsed):
            return _join(HELP_CALLED, _state_again(case, lapsed))
        case facts.Expired(lapsed=lapsed):
            return _join(_fixed("expired"), _state_again(case, lapsed))
        case facts.BailedOut(way=way):
            return _join(file.bail_outs[way].says, file.say.left)
        case facts.Overridden():
            return _fixed("emergency")
        case facts.StoodBy(lapsed=lapsed):
            return _join(_fixed("standing_by"), _state_again(case, lapsed))
        case facts.Resumed():
            return _join(_fixed("carrying_on"), _next(case))
        case facts.Repeated():
            return case.last_said or asked(case)
        case facts.Listed():
            return what_is_outstanding(case)
        case facts.Refused():
            return _refused(case, fact)
        case facts.Failed(part="clock") | facts.Recovered(part="clock"):
            return ""  # the room can do nothing about it, and the case does not depend on it
        case facts.Failed(part="display"):
            return _fixed("display")
        case facts.Failed(part=part):
            return _fixed("trouble", part=part.capitalize())
        case facts.Recovered(part=part):
            return _fixed("works", part=part.capitalize())
        case facts.Reopened(gap_s=gap_s, lapsed=lapsed):
            last = "" if _other_shape(case) else _last_on_record(case)
            count = _fixed("to_state_again", count=len(lapsed)) if lapsed else ""
            return _join(_back(gap_s), _other_shape(case), last, count)
        case facts.Closed(outstanding=rest):
            count = _fixed("never_stated", count=len(rest)) if rest else ""
            return _join(_fixed("closed"), count)
        case facts.NotUnderstood(why=Doubt.UNSURE):
            return _fixed("again")
        case facts.NotUnderstood(why=Doubt.NOT_UNDERSTOOD):
            return _not_understood(case)
        case facts.Addressed():
            return _fixed("listening")
        case facts.NotUnderstood() | facts.Spoke():
            return ""
        case _:
            assert_never(fact)


def _fixed(key: str, **values: object) -> str:
    return FIXED[key].format(**values)


def _other_shape(case: Situation) -> str:
    return "" if case.opened.as_shipped else _fixed("other_shape")


def _back(gap_s: float) -> str:
    minutes = round(gap_s / 60)
    if gap_s < 0:
        return _fixed("back_whenever")
    return _fixed("back", time=_minutes(minutes)) if minutes else _fixed("back_soon")


def _last_on_record(case: Situation) -> str:
    """What the room may take for lost, because the machine stopped before it could answer."""
    if case.last_taken is None:
        return ""
    fact = case.last_taken.fact
    waited = isinstance(fact, facts.Proposed | facts.CloseProposed | facts.PauseBegun)
    return _fixed("last", what=f"{_about(case, fact)}{'not recorded' if waited else took(fact)}")


def _about(case: Situation, fact: Fact) -> str:
    """What a fact is about, before how it was taken."""
    file = case.procedure.file
    match fact:
        case facts.Occurred(event=name):
            return f"{file.events[name].name} "
        case facts.Cautioned(caution=name):
            return f"{file.cautions[name].name} "
        case facts.BailedOut(way=name):
            return f"{file.bail_outs[name].name} "
        case _:
            return f"{_name(case, fact.item)} " if hasattr(fact, "item") else ""


def _not_understood(case: Situation) -> str:
    """The second time in a row, what may be said now."""
    asked_item = _asked_item(case)
    if case.not_understood < 2 or asked_item is None:
        return _fixed("not_understood")
    phrase = asked_item.answers[0].phrases[0]
    return _join(_fixed("not_understood"), _fixed("say", phrase=phrase))


def _minutes(count: int) -> str:
    return f"{count} minute{'s' if count > 1 else ''}"


def ask(case: Situation) -> str:
    """What is asked now, in full, to be read."""
    item = _asked_item(case)
    return item.ask if item else asked(case)


def asked(case: Situation) -> str:
    """What is asked now, as it is said."""
    match case.state.mode:
        case Mode.STANDING_BY:
            return _fixed("standing_by")
        case Mode.BAILED_OUT:
            return _fixed("bailed_out")
        case Mode.EMERGENCY:
            return _fixed("aside")
        case Mode.CLOSED:
            return _fixed("closed")
        case Mode.PAUSING:
            return case.procedure.file.say.pause_begins
        case Mode.IN_COURSE:
            return read_back(case) or _next_question(case)
        case _:
            assert_never(case.state.mode)


def read_back(case: Situation) -> str:
    """The question that waits for a reply; "" when none does."""
    match case.state.pending:
        case Answer(item=item, answer=answer):
            about = case.procedure.item(item)
            shall_i = _fixed("shall_i", says=about.answer(answer).says)
            ended = case.procedure.file.say.pause_ends if about.kind is Kind.PAUSE else ""
            return _join(ended, shall_i)
        case CloseRecord():
            rest = len(outstanding(case.procedure, case.state))
            return _fixed("shall_i_close", count=rest or "nothing")
        case None:
            return ""
        case _:
            assert_never(case.state.pending)


def what_is_outstanding(case: Situation) -> str:
    """What keeps the gate closed, or what else is outstanding; some names, asked again the next."""
    gate = gate_missing(case.procedure, case.state)
    left = gate or outstanding(case.procedure, case.state)
    if not left:
        return _fixed("none")
    named = 1 if case.state.pending is not None else NAMED_AT_ONCE
    pages = math.ceil(len(left) / named)
    start = max(0, case.listed - 1) % pages * named
    names = "; ".join(_name(case, item) for item in left[start : start + named])
    before = f" before {case.procedure.file.say.gate}" if gate and not start else ""
    return _fixed("outstanding", count=len(left), gate=before, names=names)


def _asked_item(case: Situation) -> Item | None:
    """The item that is asked now, if one is."""
    if case.state.mode is not Mode.IN_COURSE or case.state.pending is not None:
        return None
    left = outstanding(case.procedure, case.state)
    return case.procedure.item(left[0]) if left else None


def _next_question(case: Situation, *, brief: bool = False) -> str:
    item = _asked_item(case)
    if item is None:
        return _fixed("nothing_left")
    if brief or case.opened.wording != "full":
        return f"{_sentence(item.called)}."
    return item.brief


def _next(case: Situation, *, brief: bool = False) -> str:
    """The next question, marked off from what was just stated."""
    question = _next_question(case, brief=brief)
    if _asked_item(case) is None:
        return question
    return _fixed("next", asked=f"{question[0].lower()}{question[1:]}")


def _stated(case: Situation, fact: facts.Stated) -> str:
    item = case.procedure.item(fact.item)
    words = item.answer(fact.answer)
    fell = _state_again(case, fact.lapsed)
    if not words.satisfies:
        return _join(f"{_says(case, fact.item, fact.answer)}.", fell)
    # A critical item was read back a moment ago, and most have one answer: then the name tells it.
    several = sum(each.satisfies for each in item.answers) > 1 and not is_critical(item)
    says = _says(case, fact.item, fact.answer) if several else _sentence(item.called)
    return _join(_fixed("stated", says=says), fell, _next(case, brief=several))


def _refused(case: Situation, fact: facts.Refused) -> str:
    name = _name(case, fact.item)
    match fact.why:
        case Why.OUTSTANDING:
            count, following = len(fact.outstanding), _name(case, fact.outstanding[0])
            key = "refused" if case.state.pending is None else "refused_meanwhile"
            return _fixed(key, name=name, count=count, next=following)
        case Why.UNSETTLED:
            return _fixed("unsettled", name=name)
        case Why.STALE:
            return _fixed("stale")
        case Why.NOT_STANDING:
            return _fixed("nothing_to_withdraw", name=name)
        case Why.STANDING_BY:
            phrase = case.procedure.common.control.carry_on[0]
            return _join(_fixed("standing_by"), _fixed("say", phrase=phrase))
        case _:
            return _join(_fixed("not_now"), asked(case))


def carry_on(case: Situation) -> str:
    """The phrase that returns to the course, to be shown."""
    common = case.procedure.common
    return f"{common.listening.address} {common.control.carry_on[0]}"


def _state_again(case: Situation, lapsed: tuple[str, ...]) -> str:
    if not lapsed:
        return ""
    first, more = _name(case, lapsed[0]), len(lapsed) - 1
    return _fixed("state_again", names=f"{first} and {more} more" if more else first)


def _name(case: Situation, item: str) -> str:
    return case.procedure.item(item).called if item else CLOSING


def _says(case: Situation, item: str, answer: str) -> str:
    return _sentence(case.procedure.item(item).answer(answer).says)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _join(*texts: str) -> str:
    return " ".join(text for text in texts if text)
