"""The parts of a report: frozen dataclasses that say what was stated, and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from voicecheck.core.chain import parse_checkpoint
from voicecheck.core.codec import later
from voicecheck.core.procedure import Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class Moment:
    """Number and time of one line."""

    line: int
    utc: str
    """RFC 3339 with milliseconds, ending in Z."""
    since_s: float
    """Seconds since the opening, by the monotonic clock."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Utterance:
    """What was said or entered by hand, and how well it was heard."""

    text: str
    source: str
    """heard, entered or machine (a timer, a failure)"""
    confidence: float | None = None
    """Of the recogniser, 0 to 1; None if nothing was heard."""
    audio_from_s: float | None = None
    audio_to_s: float | None = None
    """Where it is in the sound, in seconds; None if nothing was heard."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """One item of the procedure, and whether it stood at the end."""

    item: str
    name: str
    kind: Kind
    phase: str
    """Title of its phase."""
    required: bool
    stands: bool
    """Whether a satisfying answer stood when the log ended."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Statement:
    """An item that was stated, or noted outside the standard course."""

    at: Moment
    item: str
    name: str
    says: str
    """What the answer means; the machine's advice is in `answered`."""
    satisfies: bool
    outside: bool
    """Noted during a bail-out or an emergency: recorded, but never counted as standing."""
    said: Utterance
    confirmed: Utterance | None
    """The reply to the read-back; None if there was no read-back."""
    answered: str
    """What the machine answered; "" for silence."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """The time for which one answer to an item stood."""

    item: str
    name: str
    says: str
    satisfies: bool
    start: Moment
    end: Moment | None
    """None if it still stood when the log ended."""
    ended: str
    """What ended it; "" if it still stood."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A time in which one phase was asked for, or the course was left."""

    title: str
    in_course: bool
    start: Moment
    end: Moment


@dataclass(frozen=True, kw_only=True, slots=True)
class Happening:
    """One line that a reviewer will look for."""

    at: Moment
    kind: str
    what: str
    why: str
    cause: Utterance
    answered: str
    """What the machine answered; "" for silence."""


EMERGENCY = "emergency"
"""What a departure is called if it is an emergency."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Departure:
    """A bail-out or an emergency, and what led to it."""

    at: Moment
    what: str
    cause: Utterance
    answered: str
    """What the machine answered."""
    lapsed: tuple[str, ...]
    """Names of the items that lapsed with it."""
    led: tuple[Happening, ...]
    """The last notable lines since the departure before it, at most five."""
    resumed: Moment | None
    """When the course went on; None if it never did."""

    @property
    def is_emergency(self) -> bool:
        """Whether it is an emergency; otherwise it is a bail-out."""
        return self.what == EMERGENCY

    def as_happening(self) -> Happening:
        """The departure as a line among others."""
        return Happening(
            at=self.at,
            kind="course left",
            what=self.what,
            why="",
            cause=self.cause,
            answered=self.answered,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Stood:
    """How long an item had stood at a given moment."""

    item: str
    name: str
    stood_s: float | None
    """In seconds; None if it did not stand."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Act:
    """One recorded clipping or dividing, and what stood at that moment."""

    at: Moment
    name: str
    during: str
    """The emergency or bail-out in which it was noted; "" if it was stated in the course."""
    criteria: tuple[Stood, ...]
    pause: Stood


@dataclass(frozen=True, kw_only=True, slots=True)
class Call:
    """A clip or a division that was called for, and what stood at that moment."""

    at: Moment
    item: str
    name: str
    said: Utterance
    became: str
    """What came of it: refused, recorded, not recorded, noted outside the course."""
    during: str
    """The emergency or bail-out in which it was noted; "" in any other case."""
    criteria: tuple[Stood, ...]
    pause: Stood
    missing: Mapping[str, str]
    """Id → name of each item that stood in its way, or would have in the course."""

    @property
    def criteria_standing(self) -> int:
        """How many criteria stood."""
        return sum(one.stood_s is not None for one in self.criteria)


@dataclass(frozen=True, kw_only=True, slots=True)
class Fallen:
    """An item that lapsed."""

    item: str
    name: str
    restored: Moment | None
    """When it was next stated as required; None if never."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Lapse:
    """One line by which statements lapsed."""

    at: Moment
    why: str
    items: tuple[Fallen, ...]

    def took_s(self, fallen: Fallen) -> float | None:
        """How long it took until one of its items was stated again; None if never."""
        return fallen.restored.since_s - self.at.since_s if fallen.restored else None


@dataclass(frozen=True, kw_only=True, slots=True)
class Pause:
    """How often the pause was begun, and how often it was confirmed as held."""

    begun: int
    held: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Deaf:
    """A time in which the machine spoke and so heard nothing; seconds since the opening."""

    text: str
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class TroubleSpan:
    """A time in which a part of the machine was out of order."""

    part: str
    message: str
    start: Moment
    end: Moment | None
    """None if it was still out of order when the log ended."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Hearing:
    """How well the machine heard: counts of lines, and seconds."""

    heard: int
    """All utterances while the machine was silent; the next five add up to it."""
    understood: int
    other_speech: int
    """Matches no phrase: mostly talk in the room."""
    not_understood: int
    """Meant for the machine, but it means nothing."""
    reply_to_nothing: int
    """Confirm or negative when nothing was read back."""
    unsure: int
    """Phrases heard with too little confidence: the machine asked for them again."""
    negatives: int
    """Read-backs that were denied or dropped."""
    no_replies: int
    """Read-backs without a reply in time."""
    asked_again: int
    """Times the machine was asked to repeat itself."""
    entered: int
    """Phrases entered by hand."""
    confidence_median: float | None
    """Of the understood utterances; None if there were none."""
    confidence_lowest: float | None
    deaf_s: float
    trouble_s: float
    spoken_over: int = later(default=0)
    """Utterances that began while the machine spoke, and did not break in."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RecordedWith:
    """The procedure, program and versions that made the record."""

    procedure: str
    title: str
    version: int
    program: str
    format: int
    rules: int
    recogniser: str
    voice: str
    wording: str
    caution: str
    rehearsal: bool = later(default=False)
    """Whether it was no operation."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Report:
    """What one log says: what was stated, and when. It judges nothing."""

    case: str
    setting: RecordedWith
    opened: Moment
    ended: Moment
    closed: bool
    summary: str
    """The case in one sentence."""
    asked: tuple[Asked, ...]
    statements: tuple[Statement, ...]
    spans: tuple[Span, ...]
    stretches: tuple[Stretch, ...]
    """They cover the whole log, without gap or overlap."""
    acts: tuple[Act, ...]
    """Every recorded clipping and dividing, in the order of the log."""
    pause: Pause
    calls: tuple[Call, ...]
    """Every clip or division that was called for, whatever came of it."""
    lapses: tuple[Lapse, ...]
    refusals: tuple[Happening, ...]
    corrections: tuple[Happening, ...]
    """Withdrawn, answered anew, or lapsed."""
    events: tuple[Happening, ...]
    """Events, cautions, calls for help, interruptions, gaps."""
    departures: tuple[Departure, ...]
    misunderstood: tuple[Happening, ...]
    deaf: tuple[Deaf, ...]
    troubles: tuple[TroubleSpan, ...]
    hearing: Hearing
    checkpoint: str
    """Number of lines and hash of the last one, as chain.Checkpoint prints it."""
    code: str
    """The same as a short code, to read aloud."""

    @property
    def long_code(self) -> str:
        """The same as a code of 80 bits, to copy by hand."""
        return parse_checkpoint(self.checkpoint).long_code

    @property
    def first_act(self) -> Act | None:
        """The first one stated in the course; None if there is none."""
        return next((act for act in self.acts if not act.during), None)

    @property
    def first_call(self) -> Call | None:
        """The first time that a clip or a division was called for; None if it never was."""
        return self.calls[0] if self.calls else None

    @property
    def refused_calls(self) -> tuple[Call, ...]:
        """The calls for a clip or a division that were refused."""
        return tuple(call for call in self.calls if call.became == "refused")

    @property
    def called_for_s(self) -> float | None:
        """From the first call to the first act in the course; None if there was no such act."""
        if self.first_call is None or self.first_act is None:
            return None
        return self.first_act.at.since_s - self.first_call.at.since_s

    @property
    def acts_outside(self) -> tuple[Act, ...]:
        """Those noted in an emergency or a bail-out."""
        return tuple(act for act in self.acts if act.during)
