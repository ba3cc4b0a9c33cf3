"""What can reach a case from outside, and the closed set of commands that it can carry."""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.core.codec import later

# ------------------------------------------------------------------------------------------ inputs

UNKNOWN = "[unk]"
"""The text of an utterance that is none of the phrases."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Heard:
    """One utterance as the recogniser understood it.

    Times are seconds of audio since the first sample, never clock times.
    """

    text: str
    """Lower-case words with single spaces; "[unk]" where something else was said."""
    confidence: float
    """How sure the ears are, 0 to 1. For a phrase: the probability that it was said
    (ears/confidence.py). For other speech: its share of the likelihood. With another Vosk model:
    the lowest confidence of a word."""
    audio_from_s: float
    audio_to_s: float
    over: bool = later(default=False)
    """Whether it began while the machine spoke, or, for a reply, before the question was out."""
    addressed: float = later(default=0.0)
    """How probable it is, 0 to 1, that the address word was said before it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Entered:
    """One phrase entered by hand at the prompt display, instead of spoken."""

    text: str
    line: int = later(default=0)
    """The number of the line that the display showed then; 0 if unknown."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Due:
    """The time that the case was waiting for has come."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Said:
    """The machine has spoken; meanwhile it was deaf to all but what breaks in."""

    text: str
    audio_from_s: float
    audio_to_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Trouble:
    """A part of the machine fails, or works again."""

    part: str
    """microphone, recogniser, voice, display or clock"""
    message: str
    over: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Restarted:
    """The program was started again on an open record."""

    gap_s: float
    """Seconds since the last line; negative if the clocks disagree, so that nobody knows."""
    boot: str = later(default="")
    """Which start of the computer this is; "" if the system does not say."""
    boot_us: int = later(default=0)
    """Microseconds since then, asleep or awake."""


Input = Heard | Entered | Due | Said | Trouble | Restarted

# ---------------------------------------------------------------------------------------- commands


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """State an item: one of its answers."""

    item: str
    answer: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Unsettle:
    """Say of an item that it is not so, not yet so, or in doubt."""

    item: str
    denied: bool
    """Whether it was denied, not only doubted, asked about or announced."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Address:
    """Say the address word, and nothing else yet."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Withdraw:
    """Take a statement back."""

    item: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ReportEvent:
    """Say that something happened."""

    event: str


@dataclass(frozen=True, kw_only=True, slots=True)
class NameDifficulty:
    """Name a difficulty, to hear its caution."""

    caution: str


@dataclass(frozen=True, kw_only=True, slots=True)
class BailOut:
    """Leave the standard course."""

    way: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Confirm:
    """Yes to the open read-back."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Negative:
    """No to the open read-back."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SayAgain:
    """Repeat what was said last."""


@dataclass(frozen=True, kw_only=True, slots=True)
class AskOutstanding:
    """Name what is not yet stated."""


@dataclass(frozen=True, kw_only=True, slots=True)
class StandBy:
    """Interrupt the course."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CarryOn:
    """Come back to the standard course."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CallHelp:
    """Ask for another surgeon's help."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DeclareEmergency:
    """Proceed at once, outside the checklist."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CloseRecord:
    """End the record of this case."""


Command = (
    Answer
    | Withdraw
    | ReportEvent
    | NameDifficulty
    | BailOut
    | Confirm
    | Negative
    | SayAgain
    | AskOutstanding
    | StandBy
    | CarryOn
    | CallHelp
    | DeclareEmergency
    | CloseRecord
)


Meaning = Command | Unsettle | Address
"""All that an utterance can mean, since conduct 2."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Unclear:
    """Something was said that is no command."""
