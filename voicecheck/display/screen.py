"""What the prompt display shows at one moment, as plain data: no case, no rule.

All times are UTC, RFC 3339; a page tells them in the time of its own zone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """Each has one shape, and means the same wherever it is shown."""

    STANDS = "stands"
    """Stated, and stands."""
    UNSAFE = "unsafe"
    """Stated with an answer that does not satisfy, such as "more than two"."""
    OPEN = "open"
    """Never stated."""
    FELL = "fell"
    """Stood once and stands no more: it lapsed or was withdrawn."""
    NOTED = "noted"
    """On record, and counts for nothing that must stand."""
    WAITING = "waiting"
    """Waits for confirm or negative."""
    REFUSED = "refused"
    """Not recorded as what was asked for."""
    IGNORED = "ignored"
    """Not understood, or talk in the room."""
    TROUBLE = "trouble"
    """A part of the machine fails."""


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
    NOTICE = "notice"
    """Nothing is asked."""


class Hearing(StrEnum):
    """Whether a voice would be heard now."""

    LISTENING = "listening"
    SPEAKING = "speaking"
    DEAF = "deaf"
    OFF = "off"


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What the room is asked, or told."""

    kind: Asking
    text: str
    wait_s: float
    """How long the machine still waits, counted from the view's time; 0 if for nothing."""
    say_label: str
    """What comes before the phrases; or alone, what else is to be told."""
    say: tuple[str, ...]
    """Every answer that may be given: the display must not lead to one of them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One item of the course."""

    name: str
    label: str
    """The name in a word or two, to be read from afar."""
    mark: Mark
    word: str
    """What stands, or how it fell; "" if it was never stated."""
    since_utc: str
    """Since when; "" if it was never stated."""
    missing: bool
    """Whether it is outstanding for what is asked now."""
    asked: bool
    """Whether it is what is asked now."""


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
class Told:
    """A sentence with its mark: what was answered last, or what stays on the screen."""

    mark: Mark
    text: str
    at_utc: str
    """When it happened."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LastHeard:
    """The last words and what became of them."""

    how: str
    """Heard, Entered, Expired or No reply."""
    words: str
    mark: Mark
    taken: str
    answered: bool
    """Whether the view's `answer` is the answer to it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Machine:
    """Whether the machine hears, and what is in trouble."""

    hearing: Hearing
    word: str
    trouble: str
    """Which parts; "" for none."""
    since_utc: str
    """Since when."""
    messages: tuple[str, ...]
    """What each failing part reported."""


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """All that the display shows; core/codec.py turns it into JSON."""

    line: int
    """The number of the log's line that it shows; a reply by hand belongs to that line."""
    title: str
    case: str
    rehearsal: str
    """The mark of a record that is of no operation; "" for a case."""
    opened_utc: str
    at_utc: str
    machine: Machine
    asked: Asked
    phases: tuple[ShownPhase, ...]
    gate: Gate
    missing: str
    """The heading of the lines that are missing; "" if none is."""
    answer: Told | None
    """What the machine remarked on the last input that was taken, if anything."""
    heard: LastHeard | None
    kept: tuple[Told, ...]
    """What stays on the screen, the most urgent first."""
    caution: str


class Role(StrEnum):
    """What a fixed key is for; the others have none."""

    EMERGENCY = "emergency"
    EVENT = "event"
    HELP = "help"
    CONFIRM = "confirm"
    NEGATIVE = "negative"
    NONE = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Key:
    """One phrase that can be entered."""

    phrase: str
    label: str
    """The phrase without the address word: for the eye only."""
    withdraws: bool
    role: Role = Role.NONE


@dataclass(frozen=True, kw_only=True, slots=True)
class Keys:
    """Keys that belong together."""

    title: str
    keys: tuple[Key, ...]
