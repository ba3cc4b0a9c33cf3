"""Measures recorded sound: level, noise floor, clipping, delay.

Samples are 16 kHz mono, signed 16-bit. Here 0 dBFS is the RMS of a full-scale square wave, so a
full-scale sine has -3.01 dBFS. AES17 calls that sine 0 dBFS: add 3.01 dB to compare.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicecheck.sound.pcm import RATE_HZ

FULL_SCALE = 32_768
LOWEST_DBFS = -96.0
"""The floor of the scale: the level of digital silence."""

_FRAME = RATE_HZ // 50
_CLEAR = 8.0
"""How far the peak of an echo stands above the mean correlation, in standard deviations."""

Samples = NDArray[np.int16]


@dataclass(frozen=True, kw_only=True, slots=True)
class Figures:
    """Measurements of sound that holds both quiet and speech."""

    noise_dbfs: float
    signal_dbfs: float
    clipped: float
    """Share of the samples at the end of the scale, 0 to 1."""

    @property
    def above_noise_db(self) -> float:
        """How far the signal stands above the noise."""
        return self.signal_dbfs - self.noise_dbfs


def rms_dbfs(samples: Samples) -> float:
    """The RMS level of all samples in dBFS (the scale is above)."""
    power = float(np.mean((samples.astype(float) / FULL_SCALE) ** 2)) if len(samples) else 0.0
    return max(LOWEST_DBFS, 10 * math.log10(power)) if power else LOWEST_DBFS


def sum_db(*levels_db: float) -> float:
    """The level of uncorrelated sounds together: their powers add."""
    return 10 * math.log10(sum(10 ** (level / 10) for level in levels_db))


def clipped(samples: Samples) -> float:
    """Share of the samples at either end of the scale, 0 to 1."""
    return float(np.mean((samples >= FULL_SCALE - 1) | (samples <= -FULL_SCALE)))


def figures(samples: Samples) -> Figures:
    """Measure half a second or more.

    Of its frames of 20 ms the quietest tenth is the noise, the loudest tenth the signal.
    """
    frames = samples[: len(samples) // _FRAME * _FRAME].reshape(-1, _FRAME)
    levels = sorted(rms_dbfs(frame) for frame in frames)
    tenth = max(1, len(levels) // 10)
    return Figures(
        noise_dbfs=_mean_db(levels[:tenth]),
        signal_dbfs=_mean_db(levels[-tenth:]),
        clipped=clipped(samples),
    )


def _mean_db(levels: list[float]) -> float:
    return sum_db(*levels) - 10 * math.log10(len(levels))


def delay_s(played: Samples, recorded: Samples) -> float | None:
    """Where `played` begins in `recorded`, in seconds, by cross-correlation; None if nowhere."""
    length = len(played) + len(recorded)
    spectrum = np.fft.rfft(recorded.astype(float), length)
    spectrum *= np.conj(np.fft.rfft(played.astype(float), length))
    alike = np.abs(np.fft.irfft(spectrum, length))[: len(recorded)]
    if not alike.any() or alike.max() < alike.mean() + _CLEAR * alike.std():
        return None
    return float(np.argmax(alike)) / RATE_HZ


def advice(room: Figures) -> list[str]:
    """What to change about the microphone, in plain words; empty if nothing."""
    said = []
    if room.clipped > 0.001:
        said.append("The microphone is too loud: turn its level down, or hold it further away.")
    if room.signal_dbfs <= -70:
        said.append("The microphone gives almost no sound: check its switch, cable and level.")
    elif room.above_noise_db < 10:
        said.append(
            f"The microphone is too far away: signal {room.above_noise_db:.0f} dB above the noise; "
            "use a headset."
        )
    elif room.signal_dbfs < -45:
        said.append("The microphone is too quiet: turn its level up.")
    if room.noise_dbfs > -35:
        said.append("The room is too loud: move the microphone away from what hums or hisses.")
    return said
