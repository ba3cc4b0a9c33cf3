"""The rules: which fact may follow which state, and what it changes.

TABLE lists for each fact the modes in which it may happen, and the mode it leads to. GUARDS add
further conditions. `refusal` checks both; `next_state` says what the fact changes. All are pure
functions of (procedure, state, fact). core/case.py has the library `transitions` execute them.
standing.py reads what stands and what is missing.

The rules in words:
- A pause or an act is refused until every required item of every earlier phase stands with an
  answer that satisfies it. So no act is recorded while a criterion does not stand.
- A critical statement (criterion, pause, act) is read back; only an explicit confirm makes it
  stand. An answer that does not satisfy ("more than two") is recorded at once: the safe direction.
- An event and a caution lapse the kinds of item that the procedure file says. An item falls with
  any item that it needs. But an act is done and stays done until it is withdrawn, or an act in its
  `after` falls.
- A call for help lapses the pause.
- What is said not to be so falls if it stood. Doubt, a question and an announcement state nothing.
- The criteria and the pause expire (expiry.py). A long or unknown gap in the record lapses both.
- Any accepted statement or event drops what was waiting (a read-back or a running pause). A caution
  ends a running pause, and leaves a read-back open unless it lapses something.
- Emergency and bail-out are accepted at once in every mode of an open case. After them,
  statements are noted: never refused, and never counted as standing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from voicecheck.core import facts
from voicecheck.core.facts import Fact, Record, Why
from voicecheck.core.inputs import Answer, CloseRecord
from voicecheck.core.procedure import Item, Kind, Procedure
from voicecheck.core.state import ASIDE, Mode, Refusal, State

from .standing import missing, needed, satisfied

CRITICAL = frozenset({Kind.CRITERION, Kind.PAUSE, Kind.ACT})


def is_critical(item: Item) -> bool:
    """Whether a statement of this item is read back before it counts."""
    return item.kind in CRITICAL


def needs_read_back(item: Item, answer: str) -> bool:
    """Whether this answer is read back: if it is critical and not in the safe direction."""
    return is_critical(item) and item.answer(answer).satisfies


def fallen(procedure: Procedure, state: State, fact: Fact) -> tuple[str, ...]:
    """The items that fall because of the fact, apart from the item that it names."""
    named = {fact.item} if isinstance(fact, (facts.Stated, facts.Withdrawn)) else set()
    now = next_state(procedure, state, fact).standing
    return tuple(
        item.id
        for item, was, stands in zip(procedure.items, state.standing, now, strict=True)
        if was and not stands and item.id not in named
    )


def _without_kinds(procedure: Procedure, standing: list[str], kinds: frozenset[Kind]) -> None:
    for place, item in enumerate(procedure.items):
        if item.kind in kinds:
            standing[place] = ""


def _settle(procedure: Procedure, standing: list[str]) -> tuple[str, ...]:
    """Drop what needs something that no longer stands; a closed gate drops no act."""
    for place, others in _leaning(procedure):
        if standing[place] and not all(satisfied(procedure, standing, n) for n in others):
            standing[place] = ""
    return tuple(standing)


@cache
def _leaning(procedure: Procedure) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """For each item that can fall with another: its place, and the places of what it needs."""
    return tuple(
        (place, needed(procedure, item.id) if item.kind is Kind.PAUSE else procedure.after[item.id])
        for place, item in enumerate(procedure.items)
        if item.after or item.kind is Kind.PAUSE
    )


# --------------------------------------------------------------------------------- the table

_OPEN = (Mode.IN_COURSE, Mode.PAUSING, Mode.STANDING_BY, Mode.BAILED_OUT, Mode.EMERGENCY)
_COURSE = {Mode.IN_COURSE: Mode.IN_COURSE, Mode.PAUSING: Mode.IN_COURSE}
_ASIDE = {mode: mode for mode in ASIDE}
_STAY: dict[Mode, Mode] = {mode: mode for mode in _OPEN}
_STOP_PAUSE = _STAY | _COURSE
_WAITING: dict[Mode, Mode] = {mode: mode for mode in _OPEN if mode is not Mode.PAUSING}

TABLE: Mapping[type[Fact], Mapping[Mode, Mode]] = {
    facts.Proposed: _COURSE,
    facts.Stated: _COURSE,
    facts.Expired: _STOP_PAUSE,
    facts.Noted: _ASIDE,
    facts.Retracted: _WAITING,
    facts.Lapsed: _WAITING,
    facts.Withdrawn: _COURSE | _ASIDE,
    facts.PauseBegun: {Mode.IN_COURSE: Mode.PAUSING},
    facts.Occurred: _STOP_PAUSE,
    facts.Cautioned: _STOP_PAUSE,
    facts.HelpCalled: _STOP_PAUSE,
    facts.BailedOut: dict.fromkeys(_OPEN, Mode.BAILED_OUT),
    facts.Overridden: dict.fromkeys(_OPEN, Mode.EMERGENCY),
    facts.StoodBy: dict.fromkeys(_COURSE, Mode.STANDING_BY),
    facts.Resumed: dict.fromkeys((Mode.STANDING_BY, *_ASIDE), Mode.IN_COURSE),
    facts.Repeated: _STAY,
    facts.Listed: _STAY,
    facts.Refused: _STAY,
    facts.NotUnderstood: _STAY,
    facts.Addressed: _STAY,
    facts.Spoke: _STAY,
    facts.Failed: _STAY,
    facts.Recovered: _STAY,
    facts.Reopened: _STOP_PAUSE,
    facts.CloseProposed: _STOP_PAUSE,
    facts.Closed: dict.fromkeys(_WAITING, Mode.CLOSED),
}
"""Fact → mode before → mode after. A mode that is not named refuses the fact."""


# --------------------------------------------------------------------------------- guards


def _needs(procedure: Procedure, state: State, fact: Any) -> Refusal | None:
    gap = missing(procedure, state, procedure.item(fact.item))
    return Refusal(why=Why.OUTSTANDING, outstanding=gap) if gap else None


def _proposable(procedure: Procedure, state: State, fact: Any) -> Refusal | None:
    item = procedure.item(fact.item)
    too_early = item.kind is Kind.PAUSE and state.mode is not Mode.PAUSING
    if too_early or not needs_read_back(item, fact.answer):
        return Refusal(why=Why.NOT_NOW)
    return _needs(procedure, state, fact)


def _statable(procedure: Procedure, state: State, fact: Any) -> Refusal | None:
    said = Answer(item=fact.item, answer=fact.answer)
    if needs_read_back(procedure.item(fact.item), fact.answer) and state.pending != said:
        return Refusal(why=Why.NOT_WAITING)
    return _needs(procedure, state, fact)


def _notable(procedure: Procedure, _state: State, fact: Any) -> Refusal | None:
    procedure.item(fact.item).answer(fact.answer)
    return None


def _worded(procedure: Procedure, _state: State, fact: Any) -> Refusal | None:
    """Refuses nothing; KeyError if the procedure has no words for it."""
    match fact:
        case facts.Occurred(event=name):
            procedure.file.events[name]
        case facts.Cautioned(caution=name):
            procedure.file.cautions[name]
        case facts.BailedOut(way=name):
            procedure.file.bail_outs[name]
    return None


def _named(procedure: Procedure, _state: State, fact: Any) -> Refusal | None:
    """Refuses nothing; KeyError if it names an item that the procedure lacks."""
    for item in fact.lapsed:
        procedure.item(item)
    return None


def _withdrawable(procedure: Procedure, state: State, fact: Any) -> Refusal | None:
    stands = state.standing[procedure.index[fact.item]]
    return None if stands else Refusal(why=Why.NOT_STANDING)


def _pausable(procedure: Procedure, state: State, fact: Any) -> Refusal | None:
    is_pause = procedure.item(fact.item).kind is Kind.PAUSE
    return _needs(procedure, state, fact) if is_pause else Refusal(why=Why.NOT_NOW)


def _waiting(_procedure: Procedure, state: State, fact: Any) -> Refusal | None:
    item = state.pending.item if isinstance(state.pending, Answer) else ""
    waits = state.pending is not None and item == fact.item
    return None if waits else Refusal(why=Why.NOT_WAITING)


def _closable(_procedure: Procedure, state: State, _fact: Any) -> Refusal | None:
    waits = isinstance(state.pending, CloseRecord)
    return None if waits else Refusal(why=Why.NOT_WAITING)


GUARDS: Mapping[type[Fact], Callable[[Procedure, State, Any], Refusal | None]] = {
    facts.Proposed: _proposable,
    facts.Stated: _statable,
    facts.Noted: _notable,
    facts.Retracted: _waiting,
    facts.Lapsed: _waiting,
    facts.Expired: _named,
    facts.Withdrawn: _withdrawable,
    facts.PauseBegun: _pausable,
    facts.Occurred: _worded,
    facts.Cautioned: _worded,
    facts.BailedOut: _worded,
    facts.Closed: _closable,
}


def refusal(procedure: Procedure, state: State, fact: Fact) -> Refusal | None:
    """Why the fact may not happen now, or None; KeyError if it names something unknown."""
    if state.mode not in TABLE[type(fact)]:
        return Refusal(why=_MODE_REFUSALS.get(state.mode, Why.NOT_NOW))
    guard = GUARDS.get(type(fact))
    return guard(procedure, state, fact) if guard else None


_MODE_REFUSALS = {Mode.STANDING_BY: Why.STANDING_BY, Mode.CLOSED: Why.CLOSED}


# --------------------------------------------------------------------------------- effects


def next_state(  # noqa: C901, PLR0912 - one case a fact
    procedure: Procedure, state: State, fact: Fact
) -> State:
    """The state after an allowed fact."""
    if isinstance(fact, _BESIDE):
        return state
    standing = list(state.standing)
    pending: Answer | CloseRecord | None = None
    match fact:
        case facts.Stated(item=item, answer=answer):
            standing[procedure.index[item]] = answer
        case facts.Withdrawn(item=item):
            standing[procedure.index[item]] = ""
        case facts.Occurred(event=event):
            _without_kinds(procedure, standing, frozenset(procedure.file.events[event].lapses))
        case facts.BailedOut() | facts.Overridden():
            _without_kinds(procedure, standing, frozenset({Kind.CRITERION, Kind.PAUSE}))
        case facts.Reopened(gap_s=gap_s) if not 0 <= gap_s <= procedure.head.restate_after_s:
            _without_kinds(procedure, standing, frozenset({Kind.CRITERION, Kind.PAUSE}))
        case facts.Expired(lapsed=items):
            for item in items:
                standing[procedure.index[item]] = ""
        case facts.Cautioned(caution=caution):
            lapses = procedure.file.cautions[caution].lapses
            _without_kinds(procedure, standing, frozenset(lapses))
            pending = None if lapses else state.pending
        case facts.StoodBy() | facts.HelpCalled():
            _without_kinds(procedure, standing, frozenset({Kind.PAUSE}))
        case facts.Proposed(item=item, answer=answer):
            pending = Answer(item=item, answer=answer)
        case facts.CloseProposed():
            pending = CloseRecord()
        case _:
            pass
    mode = TABLE[type(fact)][state.mode]
    return State(mode=mode, standing=_settle(procedure, standing), pending=pending)


_BESIDE = (
    facts.Repeated,
    facts.Listed,
    facts.Refused,
    facts.NotUnderstood,
    facts.Addressed,
    facts.Spoke,
    facts.Failed,
    facts.Recovered,
)
"""Facts beside the course: they change nothing, and leave an open read-back open."""


# --------------------------------------------------------------------------------- time


_RESTARTS_WAIT = (
    facts.Proposed,
    facts.CloseProposed,
    facts.PauseBegun,
    facts.Repeated,
    facts.Listed,
    facts.Spoke,
)
"""After these a person has the full time again, for nobody can reply while the machine speaks."""


def next_due_us(
    procedure: Procedure, state: State, due_us: int | None, record: Record
) -> int | None:
    """When the case stops waiting, after the record that led to this state.

    In microseconds since the opening; None while it waits for nothing.
    """
    if state.mode is not Mode.PAUSING and state.pending is None:
        return None
    if due_us is not None and not isinstance(record.fact, _RESTARTS_WAIT):
        return due_us
    head = procedure.head
    waits_s = head.pause_s if state.mode is Mode.PAUSING else head.read_back_s
    return record.at.mono_us + waits_s * 1_000_000
