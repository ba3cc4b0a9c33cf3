"""Decides which fact an input leads to: one input in, one fact out, no clock, file or chance."""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

from voicecheck.core import facts
from voicecheck.core.facts import At, Doubt, Fact, Why
from voicecheck.core.inputs import (
    UNKNOWN,
    Address,
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Confirm,
    DeclareEmergency,
    Due,
    Entered,
    Heard,
    Input,
    Meaning,
    NameDifficulty,
    Negative,
    ReportEvent,
    Restarted,
    Said,
    SayAgain,
    StandBy,
    Trouble,
    Unclear,
    Unsettle,
    Withdraw,
)
from voicecheck.core.procedure import Kind
from voicecheck.core.state import ASIDE, Mode, NothingDue, Situation

from .expiry import expired, expires_us
from .grammar import interpret, is_addressed
from .listening import breaks_in, doubt, is_surely_addressed, least_confidence
from .rules import fallen, needs_read_back, refusal
from .standing import missing, outstanding


def decide(case: Situation, given: Input, at: At) -> Fact:  # noqa: PLR0911 - one case an input
    """The one fact that this input leads to at this moment of the case; raises only NothingDue."""
    match given:
        case Heard(over=True) if not breaks_in(case.procedure, given):
            return _spoken_over(case, given, attended(case, given, at))
        case Entered(line=line) if _is_stale(case, given, line):
            return facts.Refused(why=Why.STALE, item=_pending_item(case))
        case Heard() | Entered():
            text = attended(case, given, at)
            meant = interpret(case.procedure, text)
            if isinstance(meant, Unclear):
                return _unclear(case, given, text)
            return _taken(case, given, meant, at)
        case Due():
            return _due(case, at)
        case Said():
            return facts.Spoke()
        case Trouble(part=part, over=over):
            return facts.Recovered(part=part) if over else facts.Failed(part=part)
        case Restarted(gap_s=gap_s):
            return _reopened(case, facts.Reopened(gap_s=gap_s))
        case _:
            assert_never(given)


def _is_stale(case: Situation, given: Entered, line: int) -> bool:
    """Whether it replies to a question that was on the screen before the open one."""
    replies = isinstance(interpret(case.procedure, given.text), Confirm | Negative)
    return replies and case.state.pending is not None and 0 < line < case.asked_line


def _spoken_over(case: Situation, given: Heard, text: str) -> Fact:
    """Whoever meant the machine is asked to say it again; other talk is only talk."""
    listening, meant = case.procedure.common.listening, interpret(case.procedure, text)
    replies = isinstance(meant, Confirm | Negative)
    # Another Vosk model does not tell how surely it was addressed: then the words must do.
    understood = not isinstance(meant, Unclear) and given.confidence >= listening.least_asked
    waited_for = case.state.pending is not None if replies else understood
    meant_for_us = waited_for or is_surely_addressed(listening, given)
    return facts.NotUnderstood(why=Doubt.SPOKEN_OVER if meant_for_us else Doubt.OTHER_SPEECH)


def attended(case: Situation, given: Heard | Entered, at: At) -> str:
    """The text, with the address word if it was said alone a moment ago, or goes on from there."""
    listening = case.procedure.common.listening
    if is_addressed(case.procedure, given.text) or given.text == UNKNOWN:
        return given.text
    lasted_s = given.audio_to_s - given.audio_from_s if isinstance(given, Heard) else 0.0
    waited_s = (at.mono_us - case.attends_from_us) / 1_000_000
    waits = case.attends_from_us >= 0 and waited_s <= listening.attends_s + lasted_s
    addressed = waits or _goes_on(case, given)
    return f"{listening.address} {given.text}" if addressed else given.text


def _goes_on(case: Situation, given: Heard | Entered) -> bool:
    """Whether it is what follows an "and", cut off by a breath."""
    before = case.last_taken.cause if case.last_taken else None
    if not isinstance(before, Heard) or not isinstance(given, Heard):
        return False
    paused_s = given.audio_from_s - before.audio_to_s
    return before.text.endswith(_JOINING) and 0 <= paused_s <= _BREATH_S


_JOINING = (" and", " then")
_BREATH_S = 1.0
"""Longer, something else was begun. Common practice, no source."""


def _unclear(case: Situation, given: Heard | Entered, text: str) -> Fact:
    """Not understood, or not meant for us: only what was addressed gets an answer."""
    if isinstance(given, Entered) or text not in (UNKNOWN, given.text):
        return facts.NotUnderstood(why=Doubt.NOT_UNDERSTOOD)
    sure = is_surely_addressed(case.procedure.common.listening, given)
    meant_for_us = sure and is_addressed(case.procedure, given.text)
    return facts.NotUnderstood(why=Doubt.NOT_UNDERSTOOD if meant_for_us else Doubt.OTHER_SPEECH)


def _taken(case: Situation, given: Heard | Entered, meant: Meaning, at: At) -> Fact:
    """The fact of this command, or NotUnderstood if it was heard with too little confidence."""
    fact = _answer(case, meant, at)
    if isinstance(given, Entered):
        return fact
    least = least_confidence(case.procedure, meant)
    against = doubt(case.procedure.common.listening, least, given)
    if against and isinstance(meant, Address):
        return facts.NotUnderstood(why=Doubt.OTHER_SPEECH)
    if against and not isinstance(fact, facts.NotUnderstood):
        return facts.NotUnderstood(why=against)
    return fact


def _reopened(case: Situation, fact: facts.Reopened) -> Fact:
    """A closed record is not taken up again: then the fact goes out as it is, and is illegal."""
    allowed = refusal(case.procedure, case.state, fact) is None
    return _with_lapses(case, fact) if allowed else fact


def _due(case: Situation, at: At) -> Fact:
    if _has_expired(case, at):
        return _with_lapses(case, facts.Expired(lapsed=expired(case, at)))
    if not _is_due(case, at):
        raise NothingDue
    if case.state.mode is Mode.PAUSING:
        pause = next(item for item in case.procedure.items if item.kind is Kind.PAUSE)
        return facts.Proposed(item=pause.id, answer=pause.answers[0].id)
    return facts.Lapsed(item=_pending_item(case))


def _is_due(case: Situation, at: At) -> bool:
    return case.due_us is not None and at.mono_us >= case.due_us


def _has_expired(case: Situation, at: At) -> bool:
    due_us = expires_us(case)
    return due_us is not None and at.mono_us >= due_us


def _answer(case: Situation, command: Meaning, at: At) -> Fact:
    """The command's fact if it may happen, otherwise Refused."""
    wanted = _wanted(case, command, at)
    against = refusal(case.procedure, case.state, wanted)
    if against is None:
        return _with_lapses(case, wanted)
    item = getattr(wanted, "item", "")
    return facts.Refused(why=against.why, item=item, outstanding=against.outstanding)


def _with_lapses(case: Situation, fact: Fact) -> Fact:
    match fact:
        case (
            facts.Stated()
            | facts.Withdrawn()
            | facts.Occurred()
            | facts.BailedOut()
            | facts.Overridden()
            | facts.StoodBy()
            | facts.Reopened()
            | facts.Expired()
            | facts.HelpCalled()
            | facts.Cautioned()
        ):
            return replace(fact, lapsed=fallen(case.procedure, case.state, fact))
        case _:
            return fact


def _wanted(case: Situation, command: Meaning, at: At) -> Fact:  # noqa: C901, PLR0911, PLR0912
    # One case per command: longer than most functions, and clearer than any way to split it.
    match command:
        case Answer(item=item, answer=answer):
            return _statement(case, item, answer)
        case Unsettle(item=item, denied=denied):
            return _unsettled(case, item, denied=denied)
        case Address():
            return facts.Addressed()
        case Withdraw(item=item):
            return _taken_back(case, item)
        case Confirm():
            return _confirmed(case, at)
        case Negative():
            return _reply(case, facts.Retracted(item=_pending_item(case)))
        case ReportEvent(event=event):
            return facts.Occurred(event=event)
        case NameDifficulty(caution=caution):
            return facts.Cautioned(caution=caution)
        case BailOut(way=way):
            return facts.BailedOut(way=way)
        case DeclareEmergency():
            return facts.Overridden()
        case CallHelp():
            return facts.HelpCalled()
        case SayAgain():
            return facts.Repeated()
        case AskOutstanding():
            return facts.Listed(outstanding=outstanding(case.procedure, case.state))
        case StandBy():
            return facts.StoodBy()
        case CarryOn():
            return facts.Resumed()
        case CloseRecord():
            return facts.CloseProposed()
        case _:
            assert_never(command)


def _taken_back(case: Situation, item: str) -> Fact:
    """What stands is withdrawn, even while a new answer waits; what only waits is dropped."""
    stands = case.state.standing[case.procedure.index[item]]
    only_waits = not stands and item == _pending_item(case)
    return facts.Retracted(item=item) if only_waits else facts.Withdrawn(item=item)


def _unsettled(case: Situation, item_id: str, *, denied: bool) -> Fact:
    """What stands or waits is dropped if it is denied; a clip that is only announced is refused."""
    item = case.procedure.item(item_id)
    if denied and case.state.standing[case.procedure.index[item_id]]:
        return facts.Withdrawn(item=item_id)
    if denied and item_id == _pending_item(case):
        return facts.Retracted(item=item_id)
    gap = missing(case.procedure, case.state, item) if case.state.mode not in ASIDE else ()
    if gap:
        return facts.Refused(why=Why.OUTSTANDING, item=item_id, outstanding=gap)
    return facts.Refused(why=Why.UNSETTLED, item=item_id)


def _statement(case: Situation, item_id: str, answer: str) -> Fact:
    item = case.procedure.item(item_id)
    if case.state.mode in ASIDE:
        return facts.Noted(item=item_id, answer=answer)
    if not needs_read_back(item, answer):
        return facts.Stated(item=item_id, answer=answer)
    if item.kind is Kind.PAUSE:
        return facts.PauseBegun(item=item_id)
    return facts.Proposed(item=item_id, answer=answer)


def _confirmed(case: Situation, at: At) -> Fact:
    """What was waiting happens, unless the confirm came too late: then it lapses."""
    too_late = _is_due(case, at) or _has_expired(case, at)
    if case.state.pending is not None and too_late:
        return facts.Lapsed(item=_pending_item(case))
    match case.state.pending:
        case Answer(item=item, answer=answer):
            return facts.Stated(item=item, answer=answer)
        case CloseRecord():
            return facts.Closed(outstanding=outstanding(case.procedure, case.state))
        case None:
            return facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM)
        case _:
            assert_never(case.state.pending)


def _reply(case: Situation, fact: Fact) -> Fact:
    """A reply while nothing waits is talk in the room, not a command to be refused aloud."""
    if case.state.pending is None:
        return facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM)
    return fact


def _pending_item(case: Situation) -> str:
    return case.state.pending.item if isinstance(case.state.pending, Answer) else ""
