"""A case: its facts, folded through a guarded state machine.

Only this file uses the library `transitions`. The machine is built from the conduct's `TABLE` and
`refusal` and has no callbacks: it says whether a fact may happen and which mode comes next.
Automatic transitions are off, because they would bypass every guard.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from typing import Any

from transitions import Machine, MachineError

from voicecheck.core.conduct import Conduct, conduct_of
from voicecheck.core.facts import (
    Addressed,
    At,
    CloseProposed,
    Doubt,
    Expired,
    Fact,
    Failed,
    Lapsed,
    Listed,
    NotUnderstood,
    Opened,
    Proposed,
    Record,
    Recovered,
    Spoke,
    Stated,
)
from voicecheck.core.inputs import Entered, Heard, Input, Said
from voicecheck.core.past import Past, after
from voicecheck.core.procedure import Procedure
from voicecheck.core.state import Mode, Refusal, State


class IllegalFact(Exception):
    """A fact that the conduct forbids: a bug in a live case, a forgery in a replay."""


class _Course:
    """The machine's model: it holds only the mode. `transitions` sets these attributes."""

    state: str
    trigger: Callable[..., bool]
    may_trigger: Callable[..., bool]


def machine_rows(conduct: Conduct) -> list[dict[str, Any]]:
    """The conduct's table as transitions: one row per fact and mode, with the guard as callable."""

    def allowed(procedure: Procedure, state: State, fact: Fact) -> bool:
        return conduct.refusal(procedure, state, fact) is None

    return [
        {
            "trigger": fact.__name__,
            "source": before.value,
            "dest": then.value,
            "conditions": allowed,
        }
        for fact, moves in conduct.TABLE.items()
        for before, then in moves.items()
    ]


@cache
def machine(version: int) -> Machine:
    """The machine that all cases under these rules share; it holds no state of its own."""
    return Machine(
        model=None,
        states=[mode.value for mode in Mode],
        initial=Mode.IN_COURSE.value,
        transitions=machine_rows(conduct_of(version)),
        auto_transitions=False,
    )


@lru_cache(maxsize=8)
def _embedded(version: int, text: str, common: str) -> Procedure:
    """A log's own procedure, parsed once for all cases that share it; raises ProcedureError."""
    return conduct_of(version).parse(text, common, "the embedded procedure")


class Case:
    """One operation's run through a procedure: the state that its facts so far lead to."""

    def __init__(self, record: Record) -> None:
        """Begin from the opening line.

        Raises IllegalFact if it is not an opening line or misstates its procedure's shape,
        UnknownConduct if it names rules that this program lacks, ProcedureError if its procedure
        has mistakes.
        """
        if not isinstance(record.fact, Opened) or record.seq != 1:
            raise IllegalFact("A log begins with its opening line.")
        self.opened = record.fact
        self.opened_at = record.at
        self.conduct = conduct_of(record.fact.rules)
        self.procedure = _embedded(record.fact.rules, record.fact.procedure, record.fact.common)
        if record.fact.shape != self.conduct.shape(self.procedure):
            raise IllegalFact("The shape in the opening line is not that of its procedure.")
        self.state = self.conduct.start(self.procedure)
        self.last = record
        self.stated_at: dict[str, At] = {}
        self.due_us: int | None = None
        self.asked_line = 0
        self.attends_from_us = -1
        self.not_understood = self.listed = 0
        self.last_said = ""
        self.last_heard: Record | None = None  # the last utterance, entry, missing reply or expiry
        self.last_taken: Record | None = None  # the last of these that was understood
        self.failing: dict[str, Record] = {}
        self.past = Past()
        self._course = _Course()
        machine(self.conduct.VERSION).add_model(self._course)

    def may(self, fact: Fact) -> bool:
        """Whether the machine would accept the fact; changes nothing."""
        try:
            return self._course.may_trigger(type(fact).__name__, self.procedure, self.state, fact)
        except KeyError:
            return False

    def why_not(self, fact: Fact) -> Refusal | None:
        """Why the fact may not happen now, or None."""
        return self.conduct.refusal(self.procedure, self.state, fact)

    def step(self, given: Input, at: At, *, prev: str, keep: Callable[[Record], None]) -> Record:
        """Take one input: decide its fact, keep the record, then believe it.

        `keep` makes the record durable; if it raises, nothing is believed. `prev` is the hash of
        the line before. Raises NothingDue, or IllegalFact if the conduct forbids the fact, before
        anything is kept.
        """
        fact = self.conduct.decide(self, given, at)
        if self.why_not(fact) is not None:
            raise IllegalFact(f"{type(fact).__name__} cannot follow line {self.last.seq}.")
        record = Record(seq=self.last.seq + 1, at=at, cause=given, fact=fact, prev=prev)
        self._check_order(record)
        keep(record)
        self.apply(record)
        return record

    def apply(self, record: Record) -> None:
        """Believe one recorded fact. If it raises IllegalFact, nothing has changed."""
        self._check_order(record)
        self._move(record.fact)
        self.state = self.conduct.next_state(self.procedure, self.state, record.fact)
        self.due_us = self.conduct.next_due_us(self.procedure, self.state, self.due_us, record)
        self.last = record
        self._remember(record)

    def _check_order(self, record: Record) -> None:
        if record.seq != self.last.seq + 1:
            raise IllegalFact(f"Line {record.seq} follows line {self.last.seq}.")
        if record.at.mono_us < self.last.at.mono_us:
            raise IllegalFact(f"Line {record.seq} is earlier than the line before it.")

    def _move(self, fact: Fact) -> None:
        before = self._course.state
        try:
            moved = self._course.trigger(type(fact).__name__, self.procedure, self.state, fact)
        except (MachineError, AttributeError, KeyError) as error:
            raise IllegalFact(f"{type(fact).__name__} cannot happen while {before}.") from error
        if not moved:
            raise IllegalFact(f"{type(fact).__name__} is refused by its guard.")

    def _remember(self, record: Record) -> None:
        """Keep what is said or shown later: the last words, times of statements, what fails."""
        if isinstance(record.cause, Heard | Entered) or isinstance(record.fact, Lapsed | Expired):
            self.last_heard = record
            if not isinstance(record.fact, NotUnderstood | Addressed):
                self.last_taken = record
        self._count(record)
        self.past = after(self.past, record)
        if isinstance(record.cause, Said):
            self.last_said = record.cause.text
        match record.fact:
            case Stated(item=item):
                self.stated_at[item] = record.at
            case Proposed() | CloseProposed():
                self.asked_line = record.seq
            case Failed(part=part):
                self.failing.setdefault(part, record)
            case Recovered(part=part):
                self.failing.pop(part, None)

    def _count(self, record: Record) -> None:
        """Keep whom it attends to, and how often in a row it did not understand or listed."""
        match record.fact:
            case Addressed():
                self.attends_from_us = record.at.mono_us
            case Spoke() if self.attends_from_us >= 0:
                self.attends_from_us = record.at.mono_us
            case NotUnderstood(why=Doubt.NOT_UNDERSTOOD):
                self.not_understood += 1
                self.attends_from_us = -1
            case _ if isinstance(record.cause, Heard | Entered):
                if not isinstance(record.fact, NotUnderstood):
                    listed = isinstance(record.fact, Listed)
                    self.not_understood, self.listed = 0, self.listed + 1 if listed else 0
                    self.attends_from_us = -1
            case _:
                pass

    @property
    def wakes_us(self) -> int | None:
        """When `Due` is the next input, if no other comes before; None if it is not awaited."""
        moments = (self.due_us, self.conduct.expires_us(self))
        return min((each for each in moments if each is not None), default=None)

    def outstanding(self) -> tuple[str, ...]:
        """Required items that do not stand with a satisfying answer, in order."""
        return self.conduct.outstanding(self.procedure, self.state)

    def gate_missing(self) -> tuple[str, ...]:
        """The items that keep the gate closed; empty when it is open."""
        return self.conduct.gate_missing(self.procedure, self.state)

    def close(self) -> None:
        """Detach from the shared machine; after this the case takes no more facts."""
        machine(self.conduct.VERSION).remove_model(self._course)
