"""What the prompt display shows at one moment, as plain words and marks: no case, no rule."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """How it is with one item."""

    STANDS = "stands"
    SHORT = "short"
    """Stated with an answer that does not satisfy, such as "more than two"."""
    OPEN = "open"


class Barrier(StrEnum):
    """What is in the gate's place between all that comes before clipping and clipping."""

    CLOSED = "closed"
    OPEN = "open"
    STANDING_BY = "standing_by"
    BAILED_OUT = "bailed_out"
    EMERGENCY = "emergency"
    RECORD_CLOSED = "record_closed"
    STOPPED = "stopped"
    """The log failed: nothing is recorded any more."""


class Asking(StrEnum):
    """What the text in the first place is."""

    QUESTION = "question"
    READ_BACK = "read_back"
    """Waits for confirm or negative."""
    PAUSE = "pause"
    REMARK = "remark"
    """The answer to an event, a difficulty, a bail-out, or a refusal; what is asked is the first
    outstanding."""
    NOTICE = "notice"
    """Nothing is asked."""


class Hearing(StrEnum):
    """Whether a voice would be heard now."""

    LISTENING = "listening"
    SPEAKING = "speaking"
    DEAF = "deaf"
    OFF = "off"


class Outcome(StrEnum):
    """How the last words were taken, as a shape."""

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
    """How long the machine still waits, at the view's own time; 0 when it waits for nothing."""
    say_label: str
    say: tuple[str, ...]
    """What may be said to it; all of it, for the display leads nobody to one answer."""


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
    """What is in the gate's place, as a word and a short sentence."""

    barrier: Barrier
    word: str
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Outstanding:
    """Names of what is not stated yet, in order."""

    label: str
    names: tuple[str, ...]
    asked_first: bool
    """Whether the first of them is what is asked now."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LastHeard:
    """The last words and what became of them."""

    how: str
    """Heard or Entered."""
    words: str
    outcome: Outcome
    taken: str
    at_utc: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Machine:
    """Whether the machine hears, and what is in trouble."""

    hearing: Hearing
    word: str
    trouble: str
    """Which parts and since when; "" for none."""
    messages: tuple[str, ...]
    """What each failing part said."""


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """All that the display shows; turned into JSON by codec.encode."""

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
