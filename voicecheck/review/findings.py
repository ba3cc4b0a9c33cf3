"""What a report holds: frozen parts, each with its time, none saying more than was stated."""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.core.procedure import Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class Moment:
    """One line's place and time."""

    line: int
    utc: str
    """RFC 3339 with milliseconds, ending in Z."""
    since_s: float
    """Seconds since the opening, by the clock that never steps back."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Utterance:
    """What was said or put in by hand, and how surely it was heard."""

    text: str
    source: str
    """heard, entered or machine (its timer, its own trouble)"""
    confidence: float | None = None
    """How sure the ears were, 0 to 1; None where nothing was heard."""
    audio_from_s: float | None = None
    audio_to_s: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """One item of the procedure, and how it ended."""

    item: str
    name: str
    kind: Kind
    phase: str
    """Title of its phase."""
    required: bool
    stands: bool
    """Whether it stood, with an answer that satisfies it, when the log ended."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Statement:
    """An item stated, or noted outside the standard course."""

    at: Moment
    item: str
    name: str
    says: str
    satisfies: bool
    outside: bool
    """Noted during a bail-out or an emergency: on record, never counted as standing."""
    said: Utterance
    confirmed: Utterance | None
    """The reply to the read-back; None where none was asked for."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """While one answer stood for an item."""

    item: str
    name: str
    says: str
    satisfies: bool
    start: Moment
    end: Moment | None
    """None: it still stood when the log ended."""
    ended: str
    """What ended it; "" if nothing did."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A time in which one phase was the one asked for, or the course was left."""

    title: str
    in_course: bool
    start: Moment
    end: Moment


@dataclass(frozen=True, kw_only=True, slots=True)
class Happening:
    """One line that a reviewer looks for."""

    at: Moment
    kind: str
    what: str
    why: str
    cause: Utterance


@dataclass(frozen=True, kw_only=True, slots=True)
class Departure:
    """A bail-out or an emergency, and what led there."""

    at: Moment
    what: str
    cause: Utterance
    lapsed: tuple[str, ...]
    """Names of what stood and was let fall."""
    led: tuple[Happening, ...]
    """The last notable lines before it, at most five, none from before an earlier departure."""
    resumed: Moment | None

    def as_happening(self) -> Happening:
        """The departure as one line among others."""
        return Happening(at=self.at, kind="course left", what=self.what, why="", cause=self.cause)


@dataclass(frozen=True, kw_only=True, slots=True)
class Stood:
    """How long something had stood at a moment."""

    item: str
    name: str
    stood_s: float | None
    """None: it did not stand."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Act:
    """One clipping or dividing on record, and what stood at that moment."""

    at: Moment
    name: str
    during: str
    """The emergency or bail-out in which it was noted; "" for one stated in the course."""
    criteria: tuple[Stood, ...]
    pause: Stood


@dataclass(frozen=True, kw_only=True, slots=True)
class Pause:
    """The pause before the first act."""

    begun: int
    held: int
    """How often it was confirmed as held."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Deaf:
    """While the machine spoke, it heard nothing."""

    text: str
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class TroubleSpan:
    """A part of the machine out of order."""

    part: str
    message: str
    start: Moment
    end: Moment | None
    """None: not mended when the log ended."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Hearing:
    """How well the machine was spoken to and heard; counts of lines."""

    heard: int
    """Utterances, of which:"""
    understood: int
    other_speech: int
    """Speech that is none of the phrases: talk in the room, mostly."""
    not_a_phrase: int
    """Known words in no known order."""
    reply_to_nothing: int
    """Confirm or negative while nothing waited."""
    unsure: int
    """Phrases heard with too little confidence; the machine asked for them again."""
    negatives: int
    no_replies: int
    asked_again: int
    entered: int
    """Put in by hand."""
    confidence_median: float | None
    """Over what was understood."""
    confidence_lowest: float | None
    deaf_s: float
    trouble_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """What the case was run with."""

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


@dataclass(frozen=True, kw_only=True, slots=True)
class Report:
    """What one log says. Everything is what was stated, with its time; nothing is a judgement."""

    case: str
    setting: Setting
    opened: Moment
    ended: Moment
    closed: bool
    summary: str
    """The case in one sentence."""
    asked: tuple[Asked, ...]
    statements: tuple[Statement, ...]
    spans: tuple[Span, ...]
    stretches: tuple[Stretch, ...]
    """Cover the whole log, without gap or overlap."""
    acts: tuple[Act, ...]
    """Every clipping and dividing on record, in the order of the log."""
    pause: Pause
    refusals: tuple[Happening, ...]
    corrections: tuple[Happening, ...]
    """Withdrawn, answered differently, lapsed by an event."""
    events: tuple[Happening, ...]
    """Events, cautions, calls for help, interruptions and their ends."""
    departures: tuple[Departure, ...]
    misunderstood: tuple[Happening, ...]
    deaf: tuple[Deaf, ...]
    troubles: tuple[TroubleSpan, ...]
    hearing: Hearing
    checkpoint: str
    """Number of lines and hash of the last, as chain.Checkpoint prints it."""
    code: str
    """The same, short enough to be copied by hand."""

    @property
    def first_act(self) -> Act | None:
        """The first that was stated in the course: what stood before it was asked for."""
        return next((act for act in self.acts if not act.during), None)

    @property
    def acts_outside(self) -> tuple[Act, ...]:
        """Those noted in an emergency or a bail-out, where no criterion stands."""
        return tuple(act for act in self.acts if act.during)
