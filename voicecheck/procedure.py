"""What is asked, in which order and in which words: a procedure file, parsed and checked whole."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TypeVar

from voicecheck.codec import Mistakes, decode

T = TypeVar("T")


class Kind(StrEnum):
    """What sort of thing an item is; what follows from it is conduct (rules.py)."""

    STEP = "step"
    """Done once: the table tilted, the specimen out."""
    HOLD = "hold"
    """Held all the while, and lost when retraction slips."""
    CRITERION = "criterion"
    """One of the criteria that must stand before anything is clipped."""
    PAUSE = "pause"
    """The timed pause, hands still, right before the first act."""
    ACT = "act"
    """Clipping or dividing: done, it cannot be undone."""


class Event(StrEnum):
    """The events that conduct knows; every procedure file words each of them."""

    BLEEDING = "bleeding"
    VIEW_LOST = "view_lost"
    RETRACTION_SLIPPED = "retraction_slipped"
    SPILLAGE = "spillage"


@dataclass(frozen=True, kw_only=True, slots=True)
class AnswerWords:
    """One way to state an item."""

    id: str
    phrases: tuple[str, ...]
    says: str
    """Read back and shown: what was understood."""
    satisfies: bool = True
    """False for a truthful answer that must not open the gate, such as "more than two"."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Item:
    """One thing asked and stated."""

    id: str
    kind: Kind
    name: str
    ask: str
    brief: str
    withdraw: str
    """The phrase that takes the statement back."""
    answers: tuple[AnswerWords, ...]
    after: tuple[str, ...] = ()
    """Items that must stand first, and whose fall brings this one down."""
    required: bool = True

    def answer(self, answer: str) -> AnswerWords:
        """The words of one answer; KeyError if the item has no such answer."""
        for words in self.answers:
            if words.id == answer:
                return words
        raise KeyError(answer)


@dataclass(frozen=True, kw_only=True, slots=True)
class Phase:
    """A part of the operation."""

    id: str
    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Remark:
    """An event, a caution or a bail-out: how it is said, and what the machine answers."""

    name: str
    phrases: tuple[str, ...]
    says: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Head:
    """The [procedure] table."""

    id: str
    title: str
    version: int
    read_back_s: int
    pause_s: int
    restate_after_s: int = 300
    """After a longer gap in the record the criteria must be stated again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _File:
    procedure: Head
    phases: tuple[Phase, ...]
    events: Mapping[str, Remark]
    cautions: Mapping[str, Remark]
    bail_outs: Mapping[str, Remark]
    lexicon: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Pronunciations for words that the dictionary lacks: word = ["P R OW N AH N S T"]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Listening:
    """How the machine is spoken to, and how sure it must be of what it heard."""

    address: str
    least_confidence: float = 0.0
    """A phrase that was heard with less must be said again; 0 where the recogniser had decided."""
    least_confidence_confirm: float = 0.0
    """The same for the confirm that makes a critical statement stand."""
    least_asked: float = 0.0
    """With less than this it is taken for other speech, and nobody is asked to say it again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Reply:
    """Said without the address word, while a read-back is open."""

    confirm: tuple[str, ...]
    negative: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Control:
    """Phrases that any procedure has."""

    say_again: tuple[str, ...]
    outstanding: tuple[str, ...]
    stand_by: tuple[str, ...]
    carry_on: tuple[str, ...]
    help: tuple[str, ...]
    emergency: tuple[str, ...]
    close: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Common:
    """The _common.toml file."""

    listening: Listening
    reply: Reply
    control: Control


@dataclass(frozen=True, kw_only=True)
class Procedure:
    """A procedure file and the common phrases, checked; hashable by identity only."""

    file: _File
    common: Common
    text: str
    common_text: str

    __hash__ = object.__hash__
    __eq__ = object.__eq__

    @property
    def head(self) -> Head:
        """Identity, title, version and times."""
        return self.file.procedure

    @property
    def phases(self) -> tuple[Phase, ...]:
        """In the order of the operation."""
        return self.file.phases

    @cached_property
    def items(self) -> tuple[Item, ...]:
        """All items in the order of the operation."""
        return tuple(item for phase in self.phases for item in phase.items)

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Item id → its place in `items`."""
        return {item.id: place for place, item in enumerate(self.items)}

    @cached_property
    def satisfying(self) -> tuple[frozenset[str], ...]:
        """For each place in `items`, the answers that satisfy the item."""
        return tuple(frozenset(w.id for w in item.answers if w.satisfies) for item in self.items)

    @cached_property
    def phase_of(self) -> Mapping[str, Phase]:
        """Item id → its phase."""
        return {item.id: phase for phase in self.phases for item in phase.items}

    @cached_property
    def before(self) -> Mapping[str, tuple[int, ...]]:
        """Item id → places of the required items in earlier phases."""
        return {item.id: tuple(self._required_before(item)) for item in self.items}

    def _required_before(self, item: Item) -> Iterator[int]:
        for phase in self.phases:
            if phase is self.phase_of[item.id]:
                return
            yield from (self.index[other.id] for other in phase.items if other.required)

    def item(self, item: str) -> Item:
        """The item with this id; KeyError if there is none."""
        return self.items[self.index[item]]


class ProcedureError(ValueError):
    """All that is wrong with a procedure file, a sentence a mistake."""

    def __init__(self, name: str, found: list[str]) -> None:
        mistakes = "".join(f"\n  - {mistake}" for mistake in found)
        super().__init__(f"{name} cannot be used; correct it and try again:{mistakes}")
        self.found = found


def parse(text: str, common_text: str, name: str = "the procedure file") -> Procedure:
    """Parse and check both texts; raises ProcedureError naming every mistake at once."""
    procedure = Procedure(
        file=_decoded(_File, text, name),
        common=_decoded(Common, common_text, "_common.toml"),
        text=text,
        common_text=common_text,
    )
    found = [
        *_head(procedure.head),
        *_listening(procedure.common.listening),
        *_names(procedure),
        *_order(procedure),
        *_events(procedure),
        *_answers(procedure),
    ]
    if found:
        raise ProcedureError(name, found)
    return procedure


def _decoded(kind: type[T], text: str, name: str) -> T:
    try:
        return decode(kind, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ProcedureError(name, [f"not TOML: {error}"]) from None
    except Mistakes as mistakes:
        raise ProcedureError(name, mistakes.found) from None


def _head(head: Head) -> Iterator[str]:
    times = {"read_back_s": head.read_back_s, "pause_s": head.pause_s}
    yield from (f"procedure.{key} must be at least 1" for key, s in times.items() if s < 1)


def _listening(listening: Listening) -> Iterator[str]:
    points = {
        "least_confidence": listening.least_confidence,
        "least_confidence_confirm": listening.least_confidence_confirm,
        "least_asked": listening.least_asked,
    }
    for key, share in points.items():
        if not 0 <= share < 1:
            yield f"_common.toml: listening.{key} must be from 0 up to, but not, 1"


def _names(procedure: Procedure) -> Iterator[str]:
    seen: set[str] = set()
    for item in procedure.items:
        if not item.id:
            yield "an item has no name: its id is empty"
        if item.id in seen:
            yield f"two items are called {item.id!r}"
        seen.add(item.id)


def _order(procedure: Procedure) -> Iterator[str]:
    known: set[str] = set()
    for item in procedure.items:
        yield from (
            f"{item.id}: after names {other!r}, which is not an earlier item"
            for other in item.after
            if other not in known
        )
        known.add(item.id)
    acts = {item.id for item in procedure.items if item.kind is Kind.ACT}
    yield from (
        f"{item.id}: an act comes after acts only; the gate holds back the rest"
        for item in procedure.items
        if item.id in acts and not acts.issuperset(item.after)
    )
    kinds = [item.kind for item in procedure.items]
    if kinds.count(Kind.PAUSE) != 1:
        yield "exactly one item must be of kind pause"
    elif Kind.ACT in kinds and kinds.index(Kind.ACT) < kinds.index(Kind.PAUSE):
        yield "the pause must come before the first item of kind act"
    if Kind.CRITERION not in kinds:
        yield "no item is of kind criterion: nothing would keep the gate closed"
    if not acts:
        yield "no item is of kind act: the gate would have nothing to hold back"
    yield from _gate_phases(procedure)


def _gate_phases(procedure: Procedure) -> Iterator[str]:
    """The gate counts whole earlier phases, so no phase may mix what gates and what is gated."""
    for phase in procedure.phases:
        kinds = {item.kind for item in phase.items}
        if Kind.PAUSE in kinds and len(phase.items) > 1:
            yield f"phase {phase.id}: the pause must be the only item of its phase"
        if Kind.ACT in kinds and kinds != {Kind.ACT}:
            yield f"phase {phase.id}: acts share no phase with other items"
    places = [n for n, item in enumerate(procedure.items) if item.kind is Kind.CRITERION]
    first_act = next((n for n, i in enumerate(procedure.items) if i.kind is Kind.ACT), None)
    if places and first_act is not None and places[-1] > first_act:
        yield "every criterion must come before the first act"
    yield from (
        f"{item.id}: a {item.kind} is always required"
        for item in procedure.items
        if item.kind in (Kind.CRITERION, Kind.PAUSE) and not item.required
    )


def _events(procedure: Procedure) -> Iterator[str]:
    worded = set(procedure.file.events)
    yield from (f"events.{event} is missing" for event in Event if event not in worded)
    yield from (f"events.{name}: no such event" for name in worded - set(Event))


def _answers(procedure: Procedure) -> Iterator[str]:
    for item in procedure.items:
        ids = [words.id for words in item.answers]
        if not all(ids):
            yield f"{item.id}: an answer has no name: its id is empty"
        if item.kind is Kind.PAUSE and len(ids) > 1:
            yield f"{item.id}: a pause has one answer only: that it was held"
        yield from (
            f"{item.id}: the answer {words.id!r} has no phrase"
            for words in item.answers
            if not words.phrases
        )
        if len(set(ids)) < len(ids):
            yield f"{item.id}: two answers have the same id"
        if not any(words.satisfies for words in item.answers):
            yield f"{item.id}: no answer satisfies it, so it could never stand"
