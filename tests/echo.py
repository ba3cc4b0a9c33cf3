"""Plays the machine's own prompts back to it: late, at any level, dry or through a room."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from prompted import said_in_cases
from stories import moment

from voicecheck.core.chain import Checkpoint, line_hash
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Doubt, NotUnderstood, Record, Spoke, decode_record, encode_record
from voicecheck.core.inputs import Heard, Trouble
from voicecheck.core.procedure import Procedure
from voicecheck.core.replay import replay
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings
from voicecheck.live.service import Service
from voicecheck.sound.pcm import RATE_HZ

BLOCK = RATE_HZ // 50
VOICE_DB = -26.0
"""A person's voice in the microphone, RMS of full scale: the level 0 dB."""
QUIET_DB = -66.0
"""The room's own noise."""
WAITS_S = 3.5
"""The ears wait so long at most for the end of a sentence (ears/tuning.py)."""

LATE_S = (0.0, 0.3, 0.9, 1.2, 2.0, 3.0)
LEVELS_DB = (-24.0, -12.0, 0.0, 6.0)

Sound = NDArray[np.float64]


def room(seconds: float = 0.5, seed: int = 7) -> Sound:
    """A room's impulse response: decaying noise, 6 dB below the direct sound.

    Invented, after Polack's model (exponentially decaying Gaussian noise; from memory).
    """
    at = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tail = np.random.default_rng(seed).standard_normal(len(at)) * 10 ** (-3 * at / seconds)
    tail *= 10 ** (-6 / 20) / np.linalg.norm(tail)
    tail[0] += 1.0
    return tail


@dataclass(kw_only=True)
class Echo:
    """A voice, and what of it reaches the microphone."""

    say_it: Callable[[str], NDArray[np.int16]]
    late_s: float
    level_db: float
    room: Sound | None = None
    said: list[str] = field(default_factory=list)
    heard: Sound = field(init=False)
    position_s: Callable[[], float] = field(init=False)

    def __post_init__(self) -> None:
        quiet = np.random.default_rng(3).standard_normal(RATE_HZ * 60)
        self.heard = quiet * 10 ** (QUIET_DB / 20) * 32768

    def say(self, text: str) -> float:
        """Play it, and let it come back."""
        self.said.append(text)
        samples = self.say_it(text).astype(np.float64)
        loud = samples[np.abs(samples) > np.abs(samples).max() / 100]
        level = 10 ** ((VOICE_DB + self.level_db) / 20) * 32768 / np.sqrt(np.mean(loud**2))
        sound = samples * level
        if self.room is not None:
            sound = np.convolve(sound, self.room)
        begin = round((self.position_s() + self.late_s) * RATE_HZ)
        self.heard[begin : begin + len(sound)] += sound
        return len(samples) / RATE_HZ

    def sound(self, text: str) -> NDArray[np.int16]:
        """What it plays."""
        return self.say_it(text)

    def stop(self) -> None:
        """The rest is on its way already, and comes back all the same."""

    def news(self) -> Trouble | None:
        """It always works."""
        return None

    def blocks(self) -> Iterator[bytes]:
        """What the microphone hears, a minute long."""
        for at in range(0, len(self.heard), BLOCK):
            yield self.heard[at : at + BLOCK].clip(-32768, 32767).astype("<i2").tobytes()


@dataclass
class Kept:
    """A log in memory."""

    records: list[Record] = field(default_factory=list)

    def append(self, line: bytes) -> None:
        """Keep a line."""
        self.records.append(decode_record(line))


def played_back(story: Sequence[Record], ears: Recogniser, echo: Echo) -> Sequence[Record]:
    """Say to its end what is said after these records, and hear it come back; what was recorded.

    But for the lines that the machine spoke.
    """
    lines = [encode_record(record) for record in story]
    began_us, kept = story[-1].at.mono_us, Kept()
    started_s = ears._passed_bytes / (2 * RATE_HZ)
    live = Service(
        log=kept,
        ears=ears,
        voice=echo,
        now=lambda audio_s: moment(began_us + round((audio_s - started_s) * 1_000_000)),
        show=lambda _case, _record, _text: None,
    )
    echo.position_s = lambda: live.position_s - started_s
    live.position_s = started_s  # the recogniser counts on
    live.case = replay(lines)
    live.checkpoint = Checkpoint(length=len(lines), last=line_hash(lines[-1]))
    live._tell()
    length_s = live.still_speaks_s + echo.late_s + WAITS_S
    live.run(islice(echo.blocks(), round(length_s * RATE_HZ / BLOCK)))
    ears.skip(b"")
    return [record for record in kept.records if not isinstance(record.fact, Spoke)]


def changes(recorded: Sequence[Record]) -> Sequence[Record]:
    """What was heard and did not pass for talk of somebody with somebody else."""
    silent = NotUnderstood(why=Doubt.OTHER_SPEECH), NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM)
    return [r for r in recorded if isinstance(r.cause, Heard) and r.fact not in silent]


@dataclass(frozen=True, kw_only=True, slots=True)
class Prompt:
    """Something that is said, and the records after which it is."""

    text: str
    asks: bool
    """Whether a question is open then, so that a reply would count."""
    story: tuple[Record, ...]


def prompts(text: str) -> list[Prompt]:
    """Each thing that is said in many cases, once with a question open and once with none."""
    found: dict[tuple[str, bool], Prompt] = {}
    for story, _, said in said_in_cases(text):
        asks = story.case.state.pending is not None
        if said and (said, asks) not in found:
            found[said, asks] = Prompt(text=said, asks=asks, story=tuple(story.records))
    return list(found.values())


@contextmanager
def ears_for(procedure: Procedure) -> Iterator[Recogniser]:
    """What listens in a live case."""
    with Recogniser(
        CURRENT.phrases(procedure),
        words=procedure.file.lexicon,
        wordings=wordings(procedure),
        listening=procedure.common.listening,
    ) as ears:
        yield ears
