"""The event loop of a live case: record, then believe, then show, then say.

The ports are declared here, beside their user: ears hear blocks of audio, a voice says texts, a log
makes lines durable, a clock tells the moment. The audio drives time: every block advances it, so a
recording runs through the same code as a live case.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from voicecheck.core.case import Case
from voicecheck.core.chain import GENESIS, Checkpoint, line_hash
from voicecheck.core.facts import (
    At,
    CloseProposed,
    Doubt,
    NotUnderstood,
    Opened,
    PauseBegun,
    Proposed,
    Record,
    Refused,
    encode_record,
)
from voicecheck.core.inputs import (
    UNKNOWN,
    Answer,
    CloseRecord,
    Confirm,
    Due,
    Entered,
    Heard,
    Input,
    Meaning,
    Negative,
    Restarted,
    Said,
    Trouble,
    Unclear,
)
from voicecheck.core.replay import replay
from voicecheck.core.state import Mode
from voicecheck.core.wording import LISTENS
from voicecheck.sound.own_voice import OwnVoice, Samples
from voicecheck.sound.pcm import BYTES_A_SECOND

ECHO_S = 0.25
"""Echo tail: after this a loudspeaker's echo is down at the noise floor (measured). What begins
then is heard anew, without the machine's own voice."""

REPLY_S = 0.3
"""What begins so long before the machine's last word ends, or later, counts: people answer within
0.2 s, and no prompt holds a command or a reply (procedure_file.py checks)."""

_HEARD_OUT = (CloseProposed, PauseBegun, Proposed, Refused)
"""What is told of these must be heard before the next statement of the same breath is taken."""

_SPEECHES_KEPT = 8
"""An utterance lasts 12 seconds at most (ears/tuning.py); no more speeches end meanwhile."""


class Ears(Protocol):
    """Turns audio into utterances, and may fail."""

    def hear(self, block: bytes) -> Sequence[Heard | Trouble]:
        """Hear a block; returns the utterances that ended in it, and what fails or works again."""

    def skip(self, block: bytes) -> None:
        """Skip a block: time advances, and a half-heard utterance is dropped."""

    def begin_anew(self) -> None:
        """Begin a new utterance here; one that is open is heard to its end beside it."""

    def finish(self) -> Sequence[Heard | Trouble]:
        """End the audio, or the part before a gap; returns what was still open, if anything."""


class Voice(Protocol):
    """Says texts aloud."""

    def say(self, text: str) -> float:
        """Start to speak; returns how many seconds it will take."""

    def sound(self, text: str) -> Samples:
        """What that sounds like, 16 kHz mono s16; empty if nothing can be said."""

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
    counts_us: int
    """From when on what is said counts, by the case's clock. The audio position would not do: it
    lags while sound waits to be read."""
    until_us: int
    """When its echo is gone."""
    counts_s: float = math.inf
    """From when on what is said counts, by the sound; known once it is reached."""


class RecordClosed(Exception):
    """A closed record takes no more lines."""


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
        """`now` turns the audio position in seconds into a moment; `show` gets what to display."""
        self._log, self._ears, self._voice, self._now, self._show = log, ears, voice, now, show
        self.position_s = 0.0  # how much audio has passed
        self.deaf_s = 0.0  # in how much of it the machine spoke, so that nothing said counted
        self._own_voice = OwnVoice()
        self._speech: _Speech | None = None
        self._spoken_s: deque[tuple[float, float]] = deque(maxlen=_SPEECHES_KEPT)
        self._out_line, self._out_s = 0, 0.0  # the last question that was out, and since when
        self._owes_tone = False  # somebody spoke over the machine, and may speak now
        self._asked: Meaning | Unclear = Unclear()  # what was last read back or refused,
        self._asked_s = 0.0  # and since when
        self._later: deque[Heard] = deque()  # said in the same breath, to be taken after that

    def open(self, opened: Opened) -> None:
        """Begin a new record."""
        at = self._now(self.position_s)
        record = Record(seq=1, at=at, cause=None, fact=opened, prev=GENESIS)
        self._keep(record)
        self.case = Case(record)
        self._tell()

    def take_up(self, lines: Sequence[bytes], restarted: Restarted) -> None:
        """Continue an open record after a gap.

        Raises BrokenLog if its lines do not hold, and RecordClosed if it is closed.
        """
        self.case = replay(lines)
        if self.closed:
            raise RecordClosed("That record is closed; give this case another name.")
        self.checkpoint = Checkpoint(length=len(lines), last=line_hash(lines[-1]))
        self.step(restarted)

    @property
    def listening(self) -> bool:
        """False while the machine speaks: then it is deaf to all but what breaks in."""
        return self._speech is None

    @property
    def still_speaks_s(self) -> float:
        """How long the machine is still deaf, in seconds; 0 while it listens."""
        if self._speech is None:
            return 0.0
        return max(0, self._speech.until_us - self._now(self.position_s).mono_us) / 1_000_000

    @property
    def closed(self) -> bool:
        """Whether the record is closed."""
        return self.case.state.mode is Mode.CLOSED

    def run(self, blocks: Iterable[bytes | Entered | Trouble]) -> None:
        """Run the case until it is closed or the blocks end."""
        for block in blocks:
            if isinstance(block, bytes):
                self._take(block)
            else:
                self._interrupt(block)
            self._note_news()
            self._step_if_due()
            self._take_later()
            if self.closed:
                return
        self._hear(self._ears.finish())
        while self._later and not self.closed:  # nobody will reply any more
            self.step(self._later.popleft())

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
            self._own_voice.say(self._voice.sound(text), self.position_s)
            now_us = self._now(self.position_s).mono_us
            self._speech = _Speech(
                text=text,
                from_s=self.position_s,
                counts_us=now_us + round(max(0, length_s - REPLY_S) * 1_000_000),
                until_us=now_us + round((length_s + ECHO_S) * 1_000_000),
            )
        else:
            self._note_question()  # it is on the screen

    def _hush(self) -> None:
        if self._speech is not None:
            self._voice.stop()
            self._end_speech()

    def _note_news(self) -> None:
        news = None if self.closed else self._voice.news()
        if news is not None:
            self.step(news)

    def _interrupt(self, given: Entered | Trouble) -> None:
        if isinstance(given, Entered):
            self._hush()  # whoever enters has read the prompt, and need not hear it out
        elif given.part == "microphone":
            self._hear(self._ears.finish())  # no utterance spans a gap in the sound
        if not self.closed:
            self.step(given)

    def _take(self, block: bytes) -> None:
        self.position_s += len(block) / BYTES_A_SECOND
        self._own_voice.hear(block, self.position_s)
        self._hear(self._ears.hear(block))
        if self._speech is not None:
            self._follow(self._speech, self._now(self.position_s).mono_us)
        self._sound_owed_tone()

    def _follow(self, speech: _Speech, now_us: int) -> None:
        """Begin to hear anew where what is said counts, and again where no echo is left."""
        if now_us >= speech.counts_us and speech.counts_s == math.inf:
            self._speech = replace(speech, counts_s=self.position_s)
            self._ears.begin_anew()
            self._note_question()
        if now_us >= speech.until_us:
            self._end_speech()
            self._ears.begin_anew()

    def _sound_owed_tone(self) -> None:
        """Tell by a tone that it listens again, if somebody spoke over it."""
        if self._owes_tone and self._speech is None:
            self._owes_tone = False
            self._voice.say(LISTENS)

    def _hear(self, utterances: Sequence[Heard | Trouble]) -> None:
        """Take what was heard; each utterance with whether it began while the machine spoke."""
        for heard in utterances:
            if self.closed:
                return
            if not isinstance(heard, Heard):
                self.step(heard)
                continue
            said = replace(self._if_said(heard), over=self._is_over(heard))
            if self._waits(said):
                self._later.append(said)
            else:
                self._take_utterance(said)

    def _if_said(self, heard: Heard) -> Heard:
        """What was heard, if somebody said it to us; otherwise other speech, without its words.

        An emergency or a bail-out is believed in any case: no prompt holds one.
        """
        if heard.text == UNKNOWN or not self._concerns_us(heard):
            return replace(heard, text=UNKNOWN)
        urgent = self.case.conduct.breaks_in(self.case.procedure, heard)
        if urgent or not self._own_voice.is_it(heard.audio_from_s, heard.audio_to_s):
            return heard
        return replace(heard, text=UNKNOWN, addressed=0.0)

    def _concerns_us(self, heard: Heard) -> bool:
        """Whether the words may be kept: talk that is not meant for the machine is nobody's."""
        conduct, procedure = self.case.conduct, self.case.procedure
        text = conduct.attended(self.case, heard, self._now(self.position_s))
        address = procedure.common.listening.address
        meant = conduct.interpret(procedure, text)
        return text.partition(" ")[0] == address or not isinstance(meant, Unclear)

    def _waits(self, heard: Heard) -> bool:
        """Whether it is a statement in the same breath as one that is now asked about or refused.

        Taken at once it would replace that question, which nobody has heard. What is urgent or in
        the safe direction does not wait, nor what only says the same again.
        """
        meant = self._meant(heard)
        if heard.over or meant == self._asked or heard.audio_from_s >= self._asked_s:
            return False
        match meant:
            case Answer(item=item, answer=answer):
                closing = isinstance(self.case.state.pending, CloseRecord)
                return self.case.procedure.item(item).answer(answer).satisfies and not closing
            case _:
                return isinstance(meant, CloseRecord)

    def _take_later(self) -> None:
        """Take what waited, once the machine has spoken and nothing is open."""
        if self._later and self.listening and self.case.due_us is None and not self.closed:
            self._take_utterance(self._later.popleft())

    def _take_utterance(self, heard: Heard) -> None:
        if not heard.over or self.case.conduct.breaks_in(self.case.procedure, heard):
            self._hush()
        self.step(heard)
        fact = self.case.last.fact
        self._owes_tone |= fact == NotUnderstood(why=Doubt.SPOKEN_OVER)
        if isinstance(fact, _HEARD_OUT):
            self._asked, self._asked_s = self._meant(heard), self.position_s

    def _meant(self, heard: Heard) -> Meaning | Unclear:
        text = self.case.conduct.attended(self.case, heard, self._now(self.position_s))
        return self.case.conduct.interpret(self.case.procedure, text)

    def _is_over(self, heard: Heard) -> bool:
        """Whether the utterance began while the machine spoke.

        A reply to a question that was not out yet counts as one, too: nobody can mean it.
        """
        began_s, speech = heard.audio_from_s, self._speech
        replies = isinstance(self._meant(heard), Confirm | Negative)
        if replies and self.case.state.pending is not None:
            return self._out_line != self.case.asked_line or began_s < self._out_s
        if speech is not None and speech.from_s <= began_s < speech.counts_s:
            return True
        return any(from_s <= began_s < to_s for from_s, to_s in self._spoken_s)

    def _note_question(self) -> None:
        """The open question has been said to its end, or is shown if nothing is said."""
        if self._out_line != self.case.asked_line:
            self._out_line, self._out_s = self.case.asked_line, self.position_s

    def _end_speech(self) -> None:
        speech, self._speech = self._speech, None
        if speech is not None:
            counts_s = min(speech.counts_s, self.position_s)
            self._spoken_s.append((speech.from_s, counts_s))
            self.deaf_s += counts_s - speech.from_s
            from_s, to_s = round(speech.from_s, 2), round(self.position_s, 2)
            self.step(Said(text=speech.text, audio_from_s=from_s, audio_to_s=to_s))

    def _step_if_due(self) -> None:
        due_us = self.case.wakes_us
        if due_us is None or not self.listening:
            return
        if self._now(self.position_s).mono_us >= due_us:
            self.step(Due())
