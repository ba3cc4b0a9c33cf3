"""Short tones that stand for a whole answer, told apart by their rhythm.

They are soft, low and without the bursts of three, five or ten pulses that mark an alarm
(IEC 60601-1-8, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from voicecheck.core.wording import AGAIN, LISTENS, REFUSED, TAKEN
from voicecheck.sound.pcm import RATE_HZ

_HZ = 440.0
_LEVEL = 0.12  # of full scale
_FADE_S = 0.02

_RHYTHMS: dict[str, tuple[float, ...]] = {
    TAKEN: (0.09,),
    LISTENS: (0.3,),
    AGAIN: (0.09, -0.09, 0.09),
    REFUSED: (0.3, -0.09, 0.3),
}
"""Text of the tone -> seconds of sound, and of silence where they are negative."""


def tone(text: str) -> NDArray[np.int16] | None:
    """Return the tone that a text stands for, 16 kHz mono s16; None if it is to be spoken."""
    rhythm = _RHYTHMS.get(text)
    return None if rhythm is None else np.concatenate([_part(each) for each in rhythm])


def _part(seconds: float) -> NDArray[np.int16]:
    count = round(abs(seconds) * RATE_HZ)
    if seconds < 0:
        return np.zeros(count, np.int16)
    at = np.arange(count)
    edge = np.minimum(1, np.minimum(at, count - 1 - at) / (_FADE_S * RATE_HZ))
    swing = _LEVEL * np.sin(np.pi / 2 * edge) ** 2 * np.sin(2 * np.pi * _HZ * at / RATE_HZ)
    return np.rint(swing * 32767).astype(np.int16)
