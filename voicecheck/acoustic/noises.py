"""Noises and a mask to measure the recogniser in; training has its own (making/augment/)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import soundfile

from voicecheck.ears.topology import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import TypeAlias

    from numpy.random import Generator
    from numpy.typing import NDArray

    Samples: TypeAlias = NDArray[np.floating]
    Noise: TypeAlias = Callable[[int, Generator, Sequence[Samples]], Samples]
    """(samples, generator, speech) → so many samples; babble is made of the speech."""


def white(length: int, rng: Generator, _speech: Sequence[Samples]) -> Samples:
    """Equal power at every frequency."""
    return rng.standard_normal(length)


def pink(length: int, rng: Generator, _speech: Sequence[Samples]) -> Samples:
    """Power falling by 3 dB an octave, roughly like ventilation."""
    return _coloured(length, rng, lambda hz: 1 / np.sqrt(np.maximum(hz, 20)))


def suction(length: int, rng: Generator, _speech: Sequence[Samples]) -> Samples:
    """A gurgling hiss at 1 to 4 kHz and the hum of its pump (shape: our own guess)."""
    hiss = _coloured(
        length, rng, lambda hz: np.exp(-((np.log2(np.maximum(hz, 20) / 2000) / 1.3) ** 2))
    )
    gurgle = _coloured(length, rng, lambda hz: (hz < 9).astype(float))
    hiss *= np.clip(1 + 0.6 * gurgle / gurgle.std(), 0.15, None)
    at = np.arange(length) / SAMPLE_RATE_HZ
    hum = sum(np.sin(2 * np.pi * 100 * n * at + rng.uniform(0, 6.28)) / n for n in range(1, 8))
    return np.asarray(hiss / hiss.std() + 0.4 * np.asarray(hum))


def babble(length: int, rng: Generator, speech: Sequence[Samples]) -> Samples:
    """Six talkers at a time, each made of recordings end to end from a random start."""
    if not speech:
        raise ValueError("Babble is made of speech: give a manifest of general speech.")
    return np.asarray(sum(_endless(length, rng, speech) for _ in range(6)))


def beeps(length: int, rng: Generator, _speech: Sequence[Samples]) -> Samples:
    """A monitor: 960 Hz for 80 ms, 70 to 90 times a minute, over faint pink noise."""
    at = np.arange(length) / SAMPLE_RATE_HZ
    on = (at % (60 / rng.uniform(70, 90))) < 0.08
    return np.asarray(on * np.sin(2 * np.pi * 960 * at) + 0.02 * pink(length, rng, ()))


def recorded(path: Path) -> Noise:
    """Return a noise that plays a 16 kHz recording, over and over, from a random start.

    Raises ValueError if the file is no such sound.
    """
    samples, rate_hz = soundfile.read(path)
    if rate_hz != SAMPLE_RATE_HZ or samples.ndim != 1:
        raise ValueError(f"{path} is not mono sound at {SAMPLE_RATE_HZ} Hz: convert it.")
    return lambda length, rng, _speech: _endless(length, rng, [samples])


_ENVELOPE_S, _HANGOVER_S, _MARGIN_DB = 0.03, 0.2, 15.9

NOISES: dict[str, Noise] = {
    "white": white,
    "pink": pink,
    "suction": suction,
    "babble": babble,
    "beeps": beeps,
}


def mix(samples: Samples, noise: Samples, snr_db: float) -> Samples:
    """Add `noise` (as long) so that the active speech level is `snr_db` above its power."""
    gain = active_speech_rms(samples) / np.sqrt(np.mean(noise**2)) / 10 ** (snr_db / 20)
    mixed = samples + gain * noise
    return np.asarray(mixed * min(1.0, 0.98 / np.abs(mixed).max()))


def active_speech_rms(samples: Samples) -> float:
    """Return the active speech level: the RMS while somebody speaks, of 16 kHz speech in ±1.

    Source: ITU-T P.56, method B (numbers from memory), without a band filter. The envelope is
    smoothed twice with 30 ms. Sound is active while the envelope is above a threshold and for 0.2 s
    after. The threshold is the one that lies 15.9 dB below the resulting level, interpolated
    between powers of two. Raises ValueError for silence.
    """
    smooth = np.exp(-1 / (_ENVELOPE_S * SAMPLE_RATE_HZ))
    after = np.arange(round(20 * _ENVELOPE_S * SAMPLE_RATE_HZ))
    response = (1 - smooth) ** 2 * (after + 1) * smooth**after
    size = 1 << (len(samples) + len(after)).bit_length()
    spectrum = np.fft.rfft(np.abs(samples), size) * np.fft.rfft(response, size)
    envelope = np.fft.irfft(spectrum, size)[: len(samples)]
    at, energy = np.arange(len(samples)), float(samples @ samples)
    before: tuple[float, float] | None = None
    for threshold in 2.0 ** np.arange(-15, 0):
        last = np.maximum.accumulate(np.where(envelope >= threshold, at, -SAMPLE_RATE_HZ))
        active = np.count_nonzero(at - last <= _HANGOVER_S * SAMPLE_RATE_HZ)
        if not active:
            break
        level_db = 10 * np.log10(energy / active)
        over_db = level_db - 20 * np.log10(threshold) - _MARGIN_DB
        if over_db <= 0:
            if before:  # interpolate in decibels
                share = before[1] / (before[1] - over_db)
                level_db = before[0] + share * (level_db - before[0])
            return float(10 ** (level_db / 20))
        before = level_db, over_db
    raise ValueError("There is no speech in this sound to measure the level of.")


def mask(samples: Samples) -> Samples:
    """A thick face mask: no loss below 1 kHz, rising to 12 dB from 4 kHz up.

    Goldin, Weinstein and Shiman (2020): 3 to 4 dB at 2 to 7 kHz for a simple mask, 12 for an N95.
    """
    hz = np.fft.rfftfreq(len(samples), 1 / SAMPLE_RATE_HZ)
    loss_db = 6 * np.clip(np.log2(np.maximum(hz, 1) / 1000), 0, 2)
    return np.asarray(np.fft.irfft(np.fft.rfft(samples) * 10 ** (-loss_db / 20), len(samples)))


def _coloured(length: int, rng: Generator, shape: Callable[[Samples], Samples]) -> Samples:
    spectrum = np.fft.rfft(rng.standard_normal(length))
    result = np.fft.irfft(spectrum * shape(np.fft.rfftfreq(length, 1 / SAMPLE_RATE_HZ)), length)
    return np.asarray(result / result.std())


def _endless(length: int, rng: Generator, speech: Sequence[Samples]) -> Samples:
    pieces: list[Samples] = []
    while sum(map(len, pieces)) < 2 * length:
        piece = speech[int(rng.integers(len(speech)))]
        pieces.append(piece / (piece.std() + 1e-9))
    start = int(rng.integers(length))
    return np.concatenate(pieces)[start : start + length]
