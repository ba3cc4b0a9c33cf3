"""What the prompt display shows at one moment, as plain data: no case, no rule."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """The state of one item."""

    STANDS = "stands"
    SHORT = "short"
    """Stated with an answer that does not satisfy, such as "more than two"."""
    OPEN = "open"


class Barrier(StrEnum):
    """What stands before clipping: the gate, or a mode in its place."""

    CLOSED = "closed"
    OPEN = "open"
    STANDING_BY = "standing_by"
    BAILED_OUT = "bailed_out"
    EMERGENCY = "emergency"
    RECORD_CLOSED = "record_closed"
    STOPPED = "stopped"
    """The log failed: nothing is recorded any more."""


class Asking(StrEnum):
    """What kind of text is in the main place."""

    QUESTION = "question"
    READ_BACK = "read_back"
    """Waits for confirm or negative."""
    PAUSE = "pause"
    REMARK = "remark"
    """The answer to an event, a difficulty, a bail-out or a refusal; the first outstanding item is
    what is asked."""
    NOTICE = "notice"
    """Nothing is asked."""


class Hearing(StrEnum):
    """Whether a voice would be heard now."""

    LISTENING = "listening"
    SPEAKING = "speaking"
    DEAF = "deaf"
    OFF = "off"


class Outcome(StrEnum):
    """How the last words were taken; each has its own shape."""

    TAKEN = "taken"
    WAITING = "waiting"
    REFUSED = "refused"
    IGNORED = "ignored"


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What the room is asked, or told."""

    kind: Asking
    text: str
    wait_s: float
    """How long the machine still waits, counted from the view's time; 0 if for nothing."""
    say_label: str
    say: tuple[str, ...]
    """Every answer that may be given: the display must not lead to one of them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One item of the course."""

    name: str
    mark: Mark
    says: str
    """What stands, in words; "" while nothing does."""
    since_utc: str
    """When that was stated, RFC 3339; "" while nothing stands."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ShownPhase:
    """One phase of the course."""

    title: str
    lines: tuple[Line, ...]
    current: bool
    gated: bool
    """Whether it lies beyond the gate."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Gate:
    """What is shown in the gate's place: a word and a short sentence."""

    barrier: Barrier
    word: str
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Outstanding:
    """The names of the outstanding items, in order."""

    label: str
    names: tuple[str, ...]
    asked_first: bool
    """Whether the first of them is what is asked now."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LastHeard:
    """The last words and what became of them."""

    how: str
    """Heard, Entered or No reply."""
    words: str
    outcome: Outcome
    taken: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Machine:
    """Whether the machine hears, and what is in trouble."""

    hearing: Hearing
    word: str
    trouble: str
    """Which parts and since when; "" for none."""
    messages: tuple[str, ...]
    """What each failing part reported."""


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """All that the display shows; core/codec.py turns it into JSON."""

    line: int
    """The number of the log's line that it shows; a reply by hand belongs to that line."""
    title: str
    case: str
    opened_utc: str
    at_utc: str
    machine: Machine
    asked: Asked
    phases: tuple[ShownPhase, ...]
    gate: Gate
    outstanding: Outstanding
    heard: LastHeard | None
    caution: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Key:
    """One phrase that can be entered."""

    phrase: str
    label: str
    """The phrase without the address word: for the eye only."""
    withdraws: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Keys:
    """Keys that belong together."""

    title: str
    keys: tuple[Key, ...]
