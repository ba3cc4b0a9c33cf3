"""A case: the fold of its facts through the guarded machine. The only file that uses transitions.

The machine is built from rules.TABLE and rules.GUARDS, with no callbacks: it only says whether a
fact may happen and which mode comes next. Automatic transitions are off, because they would walk
past every guard.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from typing import Any

from transitions import Machine, MachineError

from voicecheck.facts import (
    At,
    CloseProposed,
    Fact,
    Failed,
    Lapsed,
    Listed,
    NotUnderstood,
    Opened,
    PauseBegun,
    Proposed,
    Record,
    Recovered,
    Repeated,
    Spoke,
    Stated,
)
from voicecheck.inputs import Entered, Heard, Said
from voicecheck.procedure import Procedure
from voicecheck.procedure_file import parse
from voicecheck.rules import TABLE, Refusal, after, refusal
from voicecheck.standing import Mode, State, start

_RESTARTS_WAIT = (Proposed, CloseProposed, PauseBegun, Repeated, Listed, Spoke)
"""After these a person has the full time again; while the machine spoke, nobody could reply."""


class IllegalFact(Exception):
    """A fact that conduct forbids: our own mistake when live, a forgery when replayed."""


class _Course:
    """The model that the machine moves: only its mode. The machine binds what stands here."""

    state: str
    trigger: Callable[..., bool]
    may_trigger: Callable[..., bool]


def _allowed(procedure: Procedure, state: State, fact: Fact) -> bool:
    return refusal(procedure, state, fact) is None


def machine_rows() -> list[dict[str, Any]]:
    """The table as rows for the machine: one row per (mode, fact), guards as callables."""
    return [
        {
            "trigger": fact.__name__,
            "source": before.value,
            "dest": then.value,
            "conditions": _allowed,
        }
        for fact, moves in TABLE.items()
        for before, then in moves.items()
    ]


@cache
def machine() -> Machine:
    """The one machine that all cases share; it holds no state of its own."""
    return Machine(
        model=None,
        states=[mode.value for mode in Mode],
        initial=Mode.IN_COURSE.value,
        transitions=machine_rows(),
        auto_transitions=False,
    )


@lru_cache(maxsize=8)
def _embedded(text: str, common: str) -> Procedure:
    """Parsed once for the many cases that share it; raises ProcedureError."""
    return parse(text, common, "the embedded procedure")


class Case:
    """One operation's run through a procedure, as its facts so far imply it."""

    def __init__(self, record: Record) -> None:
        """Begin from the opening line.

        Raises IllegalFact if the line opens nothing, ProcedureError if its procedure has mistakes.
        """
        if not isinstance(record.fact, Opened) or record.seq != 1:
            raise IllegalFact("A log begins with its opening line.")
        self.opened = record.fact
        self.opened_at = record.at
        self.procedure = _embedded(record.fact.procedure, record.fact.common)
        self.state = start(self.procedure)
        self.last = record
        self.stated_at: dict[str, At] = {}
        self.due_us: int | None = None
        self.last_said = ""
        self.last_heard: Record | None = None
        self.last_taken: Record | None = None
        self.failing: dict[str, Record] = {}
        self._course = _Course()
        machine().add_model(self._course)

    def may(self, fact: Fact) -> bool:
        """What the machine says of a fact, without moving."""
        try:
            return self._course.may_trigger(type(fact).__name__, self.procedure, self.state, fact)
        except KeyError:
            return False

    def why_not(self, fact: Fact) -> Refusal | None:
        """Why the fact may not happen now, or None."""
        return refusal(self.procedure, self.state, fact)

    def apply(self, record: Record) -> None:
        """Believe one recorded fact. Raises IllegalFact, and then nothing has changed."""
        if record.seq != self.last.seq + 1:
            raise IllegalFact(f"Line {record.seq} follows line {self.last.seq}.")
        if record.at.mono_us < self.last.at.mono_us:
            raise IllegalFact(f"Line {record.seq} is earlier than the line before it.")
        self._move(record.fact)
        self.state = after(self.procedure, self.state, record.fact)
        self.last = record
        self._note_times(record)
        self._note_for_display(record)

    def _move(self, fact: Fact) -> None:
        before = self._course.state
        try:
            moved = self._course.trigger(type(fact).__name__, self.procedure, self.state, fact)
        except (MachineError, AttributeError, KeyError) as error:
            raise IllegalFact(f"{type(fact).__name__} cannot happen while {before}.") from error
        if not moved:
            raise IllegalFact(f"{type(fact).__name__} is refused by its guard.")

    def _note_times(self, record: Record) -> None:
        if isinstance(record.fact, Stated):
            self.stated_at[record.fact.item] = record.at
        if isinstance(record.cause, Said):
            self.last_said = record.cause.text
        head = self.procedure.head
        waits_s = {Mode.PAUSING: head.pause_s}.get(self.state.mode, head.read_back_s)
        if self.state.mode is not Mode.PAUSING and self.state.pending is None:
            self.due_us = None
        elif self.due_us is None or isinstance(record.fact, _RESTARTS_WAIT):
            self.due_us = record.at.mono_us + waits_s * 1_000_000

    def _note_for_display(self, record: Record) -> None:
        """Remember the last words heard or missed, the last that were taken, and what fails."""
        if isinstance(record.cause, Heard | Entered) or isinstance(record.fact, Lapsed):
            self.last_heard = record
            if not isinstance(record.fact, NotUnderstood):
                self.last_taken = record
        match record.fact:
            case Failed(part=part):
                self.failing.setdefault(part, record)
            case Recovered(part=part):
                self.failing.pop(part, None)

    def close(self) -> None:
        """Let go of the machine; a case that was closed takes no more facts."""
        machine().remove_model(self._course)
