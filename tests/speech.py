"""Synthetic speech for tests, from the espeak-ng library that the package installs anyway."""

from __future__ import annotations

import ctypes
from functools import cache
from typing import Any

import espeakng_loader
import numpy as np
from numpy.typing import NDArray

RATE_HZ = 16_000
_SYNCHRONOUS, _UTF8, _RATE, _PITCH = 2, 1, 1, 3  # espeak-ng's speak_lib.h

_CALLBACK = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
)

Samples = NDArray[np.int16]


@cache
def _espeak() -> tuple[Any, int]:
    library = ctypes.CDLL(str(espeakng_loader.get_library_path()))
    data = str(espeakng_loader.get_data_path()).encode()
    return library, library.espeak_Initialize(_SYNCHRONOUS, 0, data, 0)


@cache
def say(text: str, voice: str = "en-us", words_a_minute: int = 150, pitch: int = 50) -> Samples:
    """Speech at 16 kHz with 0.4 s of quiet before it and 0.8 s after, over a faint noise floor."""
    library, rate_hz = _espeak()
    heard: list[int] = []

    def keep(wave: Any, count: int, _events: Any) -> int:
        heard.extend(wave[:count] if wave else [])
        return 0

    callback = _CALLBACK(keep)
    library.espeak_SetSynthCallback(callback)
    library.espeak_SetVoiceByName(voice.encode())
    library.espeak_SetParameter(_RATE, words_a_minute, 0)
    library.espeak_SetParameter(_PITCH, pitch, 0)
    spoken = text.encode()
    library.espeak_Synth(spoken, len(spoken) + 1, 0, 1, 0, _UTF8, None, None)
    samples = _at_16_khz(np.array(heard, float), rate_hz) * 0.5
    padded = np.concatenate((np.zeros(RATE_HZ * 2 // 5), samples, np.zeros(RATE_HZ * 4 // 5)))
    spoken_over_noise = padded + noise(len(padded), seed=len(text))
    return np.asarray(spoken_over_noise.astype(np.int16))


def noise(length: int, *, seed: int, level: float = 12.0) -> NDArray[np.floating]:
    """White noise; by default as faint as a good microphone's."""
    return level * np.random.default_rng(seed).standard_normal(length)


def _at_16_khz(samples: NDArray[np.floating], rate_hz: int) -> NDArray[np.floating]:
    spectrum = np.fft.rfft(samples)
    length = len(samples) * RATE_HZ // rate_hz
    return np.fft.irfft(spectrum[: length // 2 + 1], length) * (length / len(samples))
