"""Sound in pieces -> for how long it has been quiet since something was loud.

Where the room is quiet the level tells that somebody stopped speaking before the recogniser can,
whose network looks ahead and works in chunks. In noise the level never falls, and it must tell.
"""

from __future__ import annotations

import numpy as np

from voicecheck.sound.pcm import RATE_HZ

FALL_DB = 20.0
"""Quiet is so far below the loudest: weaker than the end of most words, above most rooms."""
FADE_DB_S = 6.0
"""A loud sound is forgotten so fast, or a door would make all speech quiet."""


class Quiet:
    """Follows the level of mono 16-bit sound at 16 kHz, given in pieces of some 20 ms."""

    def __init__(self) -> None:
        self.lasted_s = 0.0
        """For how long the sound has been quiet; 0 while it is loud, or nothing was yet."""
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
