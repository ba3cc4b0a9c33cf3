"""Level of the sound -> how long it has been quiet: endpointing where the room is quiet.

In a quiet room the level shows the end of speech before the decoder does, whose network looks
ahead and works in chunks. In noise the level never falls, and the decoder has to tell.
"""

from __future__ import annotations

import numpy as np

from voicecheck.ears.tuning import FADE_DB_S, FALL_DB
from voicecheck.sound.pcm import RATE_HZ


class Quiet:
    """Follows the level of mono 16-bit sound at 16 kHz, given in pieces of `PIECE_S`."""

    def __init__(self) -> None:
        self.lasted_s = 0.0
        """How long it has been quiet; 0 while the sound is loud or nothing was loud yet."""
        self._loudest = 0.0

    def hear(self, piece: bytes) -> None:
        """Follow one piece of whole samples."""
        samples = np.frombuffer(piece, "<i2").astype(np.float64)
        if not len(samples):
            return
        power, seconds = float(samples @ samples) / len(samples), len(samples) / RATE_HZ
        self._loudest = max(self._loudest / 10 ** (FADE_DB_S * seconds / 10), power)
        is_quiet = power < self._loudest / 10 ** (FALL_DB / 10)
        self.lasted_s = self.lasted_s + seconds if is_quiet else 0.0
