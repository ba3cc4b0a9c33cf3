"""Tells the machine's own voice, come back through the microphone, from a person's."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from voicecheck.sound.pcm import BYTES_A_SECOND, RATE_HZ

KEPT_S = 20.0
"""An utterance lasts 12 seconds at most (ears/tuning.py), and is heard some seconds later."""
LATEST_S = 4.0
"""Later no echo comes: wireless and network loudspeakers were up to 1.2 s late."""
EARLIEST_S = -0.1
"""Sound is counted in blocks: an echo may seem to come before its cause."""
OWN_SHARE = 0.13
"""Of the sound of an utterance, so much at least is the machine's own, or it is a person's. Pieces
of 0.3 to 1.2 s of two voices in nine measured rooms, 24 dB below a speaker to as loud: 95 in 100
had more. Of 704 pairs of a reply by a stranger and a prompt: 3 in 1000 had more."""

_PRE_EMPHASIS = 0.8
"""Speech is strongest where it tells least apart; with more, faint voices drown in hiss (chosen by
the same sounds)."""

_QUIET = 0.05
"""Of a prompt's mean power: its pauses are taken for as loud as this, or any hiss would fit."""

Samples = NDArray[np.int16]


class OwnVoice:
    """The last sound that was heard, and what the machine said meanwhile and shortly before."""

    def __init__(self) -> None:
        self._blocks: deque[bytes] = deque()
        self._kept_bytes = 0
        self._until_s = 0.0
        self._said: deque[tuple[float, Samples]] = deque(maxlen=4)

    def hear(self, block: bytes, until_s: float) -> None:
        """Keep a block of sound, 16 kHz mono s16, that ends at this second."""
        self._blocks.append(block)
        self._kept_bytes += len(block)
        self._until_s = until_s
        while self._kept_bytes - len(self._blocks[0]) > KEPT_S * BYTES_A_SECOND:
            self._kept_bytes -= len(self._blocks.popleft())

    def say(self, samples: Samples, from_s: float) -> None:
        """Note what is said aloud from this second on."""
        self._said.append((from_s, samples))

    def is_it(self, from_s: float, to_s: float) -> bool:
        """Whether what was heard between these seconds is what was said, come back."""
        heard = self._heard(from_s, to_s)
        return any(
            share(samples, heard, from_s - begun_s) >= OWN_SHARE for begun_s, samples in self._said
        )

    def _heard(self, from_s: float, to_s: float) -> Samples:
        begin_s = self._until_s - self._kept_bytes / BYTES_A_SECOND
        first, last = (max(0, round((at_s - begin_s) * RATE_HZ)) for at_s in (from_s, to_s))
        return np.frombuffer(b"".join(self._blocks), "<i2")[first:last]


def share(said: Samples, heard: Samples, after_s: float) -> float:
    """The largest share, 0 to 1, of `heard` that is `said` come back, at any delay that can be.

    `heard` begins so many seconds after `said`. The share is the squared correlation coefficient.
    """
    if not len(said) or not len(heard):
        return 0.0
    played, recorded = _emphasised(said), _emphasised(heard)
    first, last = (round((after_s - late_s) * RATE_HZ) for late_s in (LATEST_S, EARLIEST_S))
    places = np.arange(max(first, -len(recorded)), min(last, len(played)) + 1)
    if not len(places):
        return 0.0
    length = 1 << (len(played) + len(recorded)).bit_length()
    spectrum = np.fft.rfft(played, length) * np.conj(np.fft.rfft(recorded, length))
    alike = np.fft.irfft(spectrum, length)[places % length]
    power = np.concatenate(([0.0], np.cumsum(played**2)))
    ends = np.clip([places, places + len(recorded)], 0, len(played))
    quiet = _QUIET * power[-1] / len(played) * len(recorded)
    energy = np.maximum(power[ends[1]] - power[ends[0]], quiet) * np.sum(recorded**2)
    return float(np.max(alike**2 / (energy + 1.0)))


def _emphasised(samples: Samples) -> NDArray[np.float64]:
    sound = samples.astype(np.float64)
    sound[1:] -= _PRE_EMPHASIS * sound[:-1]
    return sound
