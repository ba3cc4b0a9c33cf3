"""The level that tells that somebody stopped speaking: arithmetic on tones, no recogniser."""

from __future__ import annotations

import numpy as np
import pytest

from voicecheck.ears.quiet import Quiet
from voicecheck.sound.pcm import RATE_HZ

PIECE = RATE_HZ // 50


def lasted_s(*levels_db: float, seconds: float = 0.5) -> float:
    """After tones of these levels, half a second each, in pieces of 20 ms."""
    quiet = Quiet()
    for level_db in levels_db:
        at = np.arange(int(seconds * RATE_HZ))
        tone = 20_000 * 10 ** (level_db / 20) * np.sin(at * 0.3)
        for start in range(0, len(at), PIECE):
            quiet.hear(tone[start : start + PIECE].astype("<i2").tobytes())
    return quiet.lasted_s


def test_quiet_counts_from_where_the_level_fell() -> None:
    assert lasted_s(0, -40) == pytest.approx(0.5)
    assert lasted_s(0, -40, -40) == pytest.approx(1.0)


def test_a_small_fall_and_a_steady_noise_are_not_quiet() -> None:
    assert lasted_s(0, -12) == 0
    assert lasted_s(-40, -40, -40) == 0
    assert lasted_s(0, -40, -6) == 0


def test_what_was_loud_long_ago_is_forgotten() -> None:
    assert lasted_s(0, *[-30] * 20) == 0


def test_nothing_is_not_quiet_yet() -> None:
    assert lasted_s() == 0
    assert lasted_s(-200) == 0
