"""What has happened: one frozen dataclass per fact, and the record that is one line of the log.

A line is canonical JSON (RFC 8785): the time, the input, the fact it led to, and the hash of the
line before. Facts are in the past tense. None says that anything is so, only that somebody stated
it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum

import rfc8785

from voicecheck.core.codec import Mistakes, decode, encode, later
from voicecheck.core.inputs import Due, Entered, Heard, Restarted, Said, Trouble

VERSION = 2
"""The line format that this program writes."""

READABLE = (1, 2)
"""Every format ever written; all of them stay readable (tests/golden)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class At:
    """One moment by two clocks: the wall clock for people, the monotonic clock for order."""

    utc: str
    """RFC 3339 with milliseconds, ending in Z."""
    mono_us: int
    """Microseconds since the record was opened, by a clock that never steps back."""


class Why(StrEnum):
    """Why a command is refused; the conduct's wording.py has the sentence."""

    OUTSTANDING = "outstanding"
    NOT_STANDING = "not_standing"
    STANDING_BY = "standing_by"
    NOT_WAITING = "not_waiting"
    NOT_NOW = "not_now"
    STALE = "stale"
    """A reply by hand to a question that is no longer open."""
    UNSETTLED = "unsettled"
    """It was said that it is not so, not yet so, or in doubt."""
    CLOSED = "closed"


class Doubt(StrEnum):
    """Why something heard or entered counts for nothing; core/wording.py has the words."""

    UNSURE = "unsure"
    """A phrase, but with too little confidence: it must be said again."""
    OTHER_SPEECH = "other_speech"
    """Talk in the room: no phrase, or one with hardly any confidence."""
    NOT_A_PHRASE = "not_a_phrase"
    NOT_UNDERSTOOD = "not_understood"
    """Said to the machine, or entered, but it means nothing: whoever spoke gets an answer."""
    NOTHING_TO_CONFIRM = "nothing_to_confirm"
    """A reply while no read-back is open."""
    SPOKEN_OVER = "spoken_over"
    """Said while the machine spoke; a reply: before the question was out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Opened:
    """The case began. Embeds the procedure, so that a log replays without the grammars folder."""

    case: str
    """A pseudonym: never a name, a number or a date of birth."""
    procedure: str
    """The procedure file's text."""
    common: str
    """The text of the common phrases."""
    wording: str
    """full or brief"""
    program: str
    rules: int
    format: int
    recogniser: str
    """Which model listens."""
    voice: str
    """Which voice speaks, or that prompts are only shown."""
    caution: str
    """The cautions as they were shown."""
    shape: str = later(default="")
    """What the procedure and the rules make of the gate, in words."""
    as_shipped: bool = later(default=True)
    """Whether that is the shape of the procedure that came with the program."""
    boot: str = later(default="")
    """Which start of the computer this is; "" if the system does not say."""
    boot_us: int = later(default=0)
    """Microseconds since then, asleep or awake."""
    rehearsal: bool = later(default=False)
    """Whether it is no operation: an invented case, or practice."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Proposed:
    """A critical statement was understood and read back; it is not believed yet."""

    item: str
    answer: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Stated:
    """An item was stated; `lapsed` names the items that fell because of it."""

    item: str
    answer: str
    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Noted:
    """An item was stated outside the standard course: recorded, never counted as standing."""

    item: str
    answer: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Retracted:
    """The speaker said no to the read-back; an empty item means closing the record."""

    item: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Lapsed:
    """No reply came to the read-back in time; nothing is believed."""

    item: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Expired:
    """What was stated too long ago no longer stands."""

    lapsed: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Withdrawn:
    """A standing item was taken back; the earlier line stays."""

    item: str
    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class PauseBegun:
    """The pause before clipping began: hands still."""

    item: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Occurred:
    """An event happened in the operation; `lapsed` names the items that fell because of it."""

    event: str
    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Cautioned:
    """A difficulty was named, and its caution given."""

    caution: str
    lapsed: tuple[str, ...] = later(default=())


@dataclass(frozen=True, kw_only=True, slots=True)
class HelpCalled:
    """Somebody asked for another surgeon's help."""

    lapsed: tuple[str, ...] = later(default=())


@dataclass(frozen=True, kw_only=True, slots=True)
class BailedOut:
    """The standard course was left."""

    way: str
    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Overridden:
    """An emergency was declared: the checklist steps aside."""

    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class StoodBy:
    """The course was interrupted."""

    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Resumed:
    """The standard course goes on."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Repeated:
    """Somebody asked for the machine's last words again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Listed:
    """Somebody asked what is outstanding, and was told."""

    outstanding: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Refused:
    """A command was not accepted; `outstanding` names what is in its way."""

    why: Why
    item: str = ""
    outstanding: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class NotUnderstood:
    """Something was said that is not a command now."""

    why: Doubt


@dataclass(frozen=True, kw_only=True, slots=True)
class Addressed:
    """The address word was said alone: for some seconds a command needs none."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Spoke:
    """The machine spoke; meanwhile it was deaf to all but an emergency or a bail-out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Failed:
    """A part of the machine stopped working; the case goes on without it."""

    part: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Recovered:
    """A part of the machine works again."""

    part: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Reopened:
    """The record was taken up again after a gap in which nobody listened."""

    gap_s: float
    lapsed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class CloseProposed:
    """Closing the record was asked for and read back."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Closed:
    """The record was closed; `outstanding` names what was never stated."""

    outstanding: tuple[str, ...]


Fact = (
    Opened
    | Proposed
    | Stated
    | Noted
    | Retracted
    | Lapsed
    | Expired
    | Withdrawn
    | PauseBegun
    | Occurred
    | Cautioned
    | HelpCalled
    | BailedOut
    | Overridden
    | StoodBy
    | Resumed
    | Repeated
    | Listed
    | Refused
    | NotUnderstood
    | Addressed
    | Spoke
    | Failed
    | Recovered
    | Reopened
    | CloseProposed
    | Closed
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """One fact with its place and cause: exactly one line of the log."""

    seq: int
    """1 for the first line."""
    at: At
    cause: Heard | Entered | Due | Said | Trouble | Restarted | None
    """The input that led to the fact; only the opening has none."""
    fact: Fact
    prev: str
    """Hash of the line before (see core/chain.py)."""


def encode_record(record: Record) -> bytes:
    """The line's bytes, without the newline: canonical JSON in UTF-8."""
    return rfc8785.dumps(encode(record))


def decode_record(line: bytes) -> Record:
    """The inverse of encode_record; raises Mistakes for bytes that it would not write."""
    try:
        plain = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise Mistakes([f"not a line of a log: it is not JSON ({error})"]) from None
    record = decode(Record, plain)
    try:
        written = encode_record(record)
    except ValueError as error:  # such as NaN, which json.loads reads
        raise Mistakes(
            [f"holds a value that canonical JSON (RFC 8785) does not have: {error}"]
        ) from None
    if written != line:
        raise Mistakes(["not in canonical form (RFC 8785): another program rewrote the line"])
    return record
