"""The shape of a procedure: what is asked, in which order and in which words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from voicecheck.core.codec import LEFT_OUT, later


class Kind(StrEnum):
    """What sort of thing an item is; the conduct decides what follows from it."""

    STEP = "step"
    """Done once: the table tilted, the specimen out."""
    HOLD = "hold"
    """Held throughout, and lost when retraction slips."""
    CRITERION = "criterion"
    """One of the criteria that must stand before anything is clipped."""
    PAUSE = "pause"
    """The timed pause, hands still, right before the first act."""
    ACT = "act"
    """Clipping or dividing: done, it cannot be undone."""


class Event(StrEnum):
    """The events that conduct 1 knows; since then a file names its own."""

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
    """What was understood, as it is read back and shown."""
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
    """Items that must stand first; if one of them falls, so does this one."""
    required: bool = True
    label: str = later(default="")
    """What it is called aloud, in a word or two; the name if it is empty."""

    @property
    def called(self) -> str:
        """What it is called aloud."""
        return self.label or self.name

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
    lapses: tuple[Kind, ...] = later(default=())
    """The kinds of item that it lapses."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Head:
    """The [procedure] table."""

    id: str
    title: str
    version: int
    read_back_s: int
    pause_s: int
    restate_after_s: int = 300
    """After a longer gap in the record, the criteria must be stated again."""
    criteria_hold_s: int = 0
    """How long the criteria stand after the last critical statement; 0, in old files: for ever."""
    pause_holds_s: int = 0
    """How long the pause stands after it, or after the last act; 0, in old files: for ever."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Say:
    """The [say] table: the machine's words for the gate, the pause and leaving the course."""

    gate: str = "what the gate holds back"
    """What is refused until the rest stands, as in "before any clip": here "any clip"."""
    pause_begins: str = "Hands still."
    pause_ends: str = "Time. Look again."
    left: str = "Bail-out noted."


_SAY = Say()


@dataclass(frozen=True, kw_only=True, slots=True)
class File:
    """The procedure file as it is written."""

    procedure: Head
    phases: tuple[Phase, ...]
    events: Mapping[str, Remark]
    cautions: Mapping[str, Remark]
    bail_outs: Mapping[str, Remark]
    lexicon: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Pronunciations for words that the dictionary lacks: word = ["P R OW N AH N S T"]."""
    pieces: Mapping[str, str] = field(default_factory=dict)
    """Named pieces of patterns: name = pattern."""
    say: Say = field(default=_SAY, metadata=LEFT_OUT)
    heard: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Patterns of other wordings that are heard but not shown. Keys: "item.answer",
    "unsettled.item" (not so, not yet so, asked about), "withdraw.item", "event.name",
    "caution.name", "bail_out.name"."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Reply:
    """Phrases said without the address word, while a read-back is open."""

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
class Listening:
    """The [listening] table: the address word, and the operating points, from 0 up to 1."""

    address: str
    least_confidence: float = 0.0
    """A phrase heard with less must be said again; 0 leaves that to the recogniser."""
    least_confidence_critical: float = 0.0
    """The same for a critical statement, either way."""
    least_confidence_confirm: float = 0.0
    """The same for the confirm that makes a critical statement stand."""
    least_asked: float = 0.0
    """A phrase heard with less is taken for other speech: nobody is asked to say it again."""
    least_addressed: float = 0.0
    """The least confidence that the address word was said, to answer what was not understood."""
    attends_s: int = 0
    """How long the address word alone keeps the ears open for what is said without it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Words:
    """What words count as where no pattern takes them; each entry is a word or several."""

    fillers: tuple[str, ...] = ()
    """Words that change nothing: "um", "please", "the"."""
    denials: tuple[str, ...] = ()
    """Words that deny: "not", "never"."""
    hedges: tuple[str, ...] = ()
    """Words of doubt, or of what is yet to come: "maybe", "going to"."""
    questions: tuple[str, ...] = ()
    """Words that ask, if they come first: "is", "shall"."""
    leads: tuple[str, ...] = ()
    """Words that come before what is meant: "um", "okay"."""
    courtesies: tuple[str, ...] = ()
    """The only words that may stand behind a reply."""
    hesitations: tuple[str, ...] = ()
    """Sounds that may come before a reply: "um"."""
    endings: tuple[str, ...] = ()
    """Fillers that may end a sentence: "please", "now"."""


_WORDS = Words()


@dataclass(frozen=True, kw_only=True, slots=True)
class Common:
    """The _common.toml file."""

    listening: Listening
    reply: Reply
    control: Control
    words: Words = field(default=_WORDS, metadata=LEFT_OUT)
    heard: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Patterns of other wordings of a reply or a control: "reply.confirm", "control.help"."""
    pieces: Mapping[str, str] = field(default_factory=dict)
    """Named pieces of patterns: name = pattern."""


@dataclass(frozen=True, kw_only=True)
class Procedure:
    """A procedure file and the common phrases, checked; compared and hashed by identity."""

    file: File
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
        """The phases in the order of the operation."""
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

    @cached_property
    def after(self) -> Mapping[str, tuple[int, ...]]:
        """Item id → places of the items that its own `after` names."""
        return {item.id: tuple(self.index[other] for other in item.after) for item in self.items}

    def _required_before(self, item: Item) -> Iterator[int]:
        for phase in self.phases:
            if phase is self.phase_of[item.id]:
                return
            yield from (self.index[other.id] for other in phase.items if other.required)

    def item(self, item: str) -> Item:
        """The item with this id; KeyError if there is none."""
        return self.items[self.index[item]]


class ProcedureError(ValueError):
    """All mistakes in a procedure file, one sentence each."""

    def __init__(self, name: str, found: list[str]) -> None:
        mistakes = "".join(f"\n  - {mistake}" for mistake in found)
        super().__init__(f"{name} cannot be used; correct it and try again:{mistakes}")
        self.found = found
