"""The loop and the order of things: record, then believe, then show, then say.

The ports are declared here, beside their user: ears hear blocks of audio, a voice says texts, a
log makes lines durable, a clock tells the moment. Time is driven by the audio itself: every block
moves it on, so that a recording plays through the same code as a live case.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from voicecheck.core.case import Case
from voicecheck.core.chain import GENESIS, Checkpoint, line_hash
from voicecheck.core.facts import At, Opened, Record, encode_record
from voicecheck.core.inputs import Due, Entered, Heard, Input, Restarted, Said, Trouble
from voicecheck.core.replay import replay
from voicecheck.core.state import Mode
from voicecheck.sound.pcm import BYTES_A_SECOND

ECHO_S = 0.25
"""Still deaf after the last word: the room has not fallen silent (measured: a gate with this tail
takes a loudspeaker's echo down to the noise floor)."""


class Ears(Protocol):
    """Turns audio into utterances, and may fail."""

    def hear(self, block: bytes) -> Sequence[Heard | Trouble]:
        """Listen to a block; the utterances that ended in it, and what fails or works again."""

    def skip(self, block: bytes) -> None:
        """Let a block pass unheard: time goes on, a half-heard utterance is dropped."""

    def finish(self) -> Sequence[Heard | Trouble]:
        """The audio has ended; the utterance that was still open, if any."""


class Voice(Protocol):
    """Says texts aloud."""

    def say(self, text: str) -> float:
        """Start to speak; how many seconds it will take."""

    def stop(self) -> None:
        """Fall silent at once."""

    def news(self) -> Trouble | None:
        """Whether speech has failed, or works again, since the last call."""


class Log(Protocol):
    """Makes lines durable."""

    def append(self, line: bytes) -> None:
        """Return when the line is on disk; raise otherwise."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Speech:
    text: str
    from_s: float
    until_us: int
    """By the case's own clock: sound that waited meanwhile is drained by then."""


class RecordClosed(Exception):
    """A record that has ended takes no more lines."""


class Service:
    """One live case: inputs go in, facts are recorded, believed, shown and said."""

    def __init__(
        self,
        *,
        log: Log,
        ears: Ears,
        voice: Voice,
        now: Callable[[float], At],
        show: Callable[[Case, Record, str], None],
    ) -> None:
        """`now` gets the audio's own time in seconds; `show` what to display."""
        self._log, self._ears, self._voice, self._now, self._show = log, ears, voice, now, show
        self.position_s = 0.0  # how much audio has passed
        self._speech: _Speech | None = None

    def open(self, opened: Opened) -> None:
        """Begin a new record."""
        at = self._now(self.position_s)
        record = Record(seq=1, at=at, cause=None, fact=opened, prev=GENESIS)
        self._keep(record)
        self.case = Case(record)
        self._tell()

    def take_up(self, lines: Sequence[bytes], gap_s: float) -> None:
        """Go on with an open record after a gap.

        Raises BrokenLog if its lines do not hold, and RecordClosed if it has ended.
        """
        self.case = replay(lines)
        if self.closed:
            raise RecordClosed("That record is closed; give this case another name.")
        self.checkpoint = Checkpoint(length=len(lines), last=line_hash(lines[-1]))
        self.step(Restarted(gap_s=gap_s))

    @property
    def listening(self) -> bool:
        """False while the machine speaks: then it is deaf to all but what breaks in (rules.py)."""
        return self._speech is None

    @property
    def still_speaks_s(self) -> float:
        """How long the machine is still deaf, in seconds; 0 while it listens."""
        if self._speech is None:
            return 0.0
        return max(0, self._speech.until_us - self._now(self.position_s).mono_us) / 1_000_000

    @property
    def closed(self) -> bool:
        """Whether the record has ended."""
        return self.case.state.mode is Mode.CLOSED

    def run(self, blocks: Iterable[bytes | Entered | Trouble]) -> None:
        """Live the case until it is closed or the blocks end."""
        for block in blocks:
            if isinstance(block, bytes):
                self._take(block)
            else:
                self._ears.skip(b"")  # nothing is joined across a gap or an entry by hand
                if isinstance(block, Entered):
                    self._hush()  # whoever enters has read on, and need not hear it out
                self.step(block)
            self._note_news()
            self._step_if_due()
            if self.closed:
                return
        for heard in self._ears.finish():
            if not self.closed:
                self.step(heard)

    def step(self, given: Input) -> None:
        """One input in, one fact out; it is on disk before anybody is told."""
        at = self._now(self.position_s)
        self.case.step(given, at, prev=self.checkpoint.last, keep=self._keep)
        self._tell()

    def _keep(self, record: Record) -> None:
        line = encode_record(record)
        self._log.append(line)
        self.checkpoint = Checkpoint(length=record.seq, last=line_hash(line))

    def _tell(self) -> None:
        record = self.case.last
        text = self.case.conduct.spoken(self.case, record)
        self._show(self.case, record, text)
        if text:
            self._say(text)

    def _say(self, text: str) -> None:
        self._hush()
        length_s = self._voice.say(text)
        if length_s:
            deaf_us = round((length_s + ECHO_S) * 1_000_000)
            until_us = self._now(self.position_s).mono_us + deaf_us
            self._speech = _Speech(text=text, from_s=self.position_s, until_us=until_us)

    def _hush(self) -> None:
        if self._speech is not None:
            self._voice.stop()
            self._end_speech()

    def _note_news(self) -> None:
        news = None if self.closed else self._voice.news()
        if news is not None:
            self.step(news)

    def _take(self, block: bytes) -> None:
        self.position_s += len(block) / BYTES_A_SECOND
        deaf = self._speech is not None
        for heard in self._ears.hear(block):
            if self.closed or (deaf and not self._breaks_in(heard)):
                continue
            if isinstance(heard, Heard):
                self._hush()
            self.step(heard)
        if self._speech is not None and self._now(self.position_s).mono_us >= self._speech.until_us:
            self._end_speech()
            self._ears.skip(b"")  # what it heard of the machine itself is joined to nothing

    def _breaks_in(self, heard: Heard | Trouble) -> bool:
        return isinstance(heard, Trouble) or self.case.conduct.breaks_in(self.case.procedure, heard)

    def _end_speech(self) -> None:
        speech, self._speech = self._speech, None
        if speech is not None:
            from_s, to_s = round(speech.from_s, 2), round(self.position_s, 2)
            self.step(Said(text=speech.text, audio_from_s=from_s, audio_to_s=to_s))

    def _step_if_due(self) -> None:
        due_us = self.case.due_us
        if due_us is None or not self.listening:
            return
        if self._now(self.position_s).mono_us >= due_us:
            self.step(Due())
