"""espeak-ng (GPL-3+, as the library that espeakng-loader brings) as a voice to train on.

A minority of the corpus: it sounds unlike people, but has accents that the others lack.
"""

from __future__ import annotations

import ctypes
import importlib
from typing import TYPE_CHECKING

import numpy as np

from voicecheck.acoustic.phones import from_espeak
from voicecheck.acoustic.voices import Spoken, at_16_khz

if TYPE_CHECKING:
    from random import Random

ACCENTS = ("en-us", "en-gb-x-rp", "en-gb-scotland", "en-029", "en-us-nyc")
VARIANTS = ("m1", "m2", "m3", "m5", "m6", "m8", "f1", "f2", "f4")
"""Variants m4, m7, f3 and f5 only measure progress."""

_RETRIEVAL, _UTF8, _IPA = 1, 1, 2
_RATE, _PITCH, _RANGE = 1, 3, 4
_CALLBACK = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
)


class Espeak:
    """espeak-ng in a random accent, variant, pace and pitch."""

    def __init__(self) -> None:
        loader = importlib.import_module("espeakng_loader")
        self._library = ctypes.CDLL(loader.get_library_path())
        folder = str(loader.get_data_path()).encode()
        self._rate_hz = self._library.espeak_Initialize(_RETRIEVAL, 0, folder, 0)
        self._library.espeak_TextToPhonemes.restype = ctypes.c_char_p
        whole, pointer = ctypes.c_uint, ctypes.c_void_p
        self._library.espeak_Synth.argtypes = [
            *(ctypes.c_char_p, ctypes.c_size_t, whole, ctypes.c_int, whole, whole, pointer, pointer)
        ]
        self._pieces: list[bytes] = []
        self._callback = _CALLBACK(self._hear)
        self._library.espeak_SetSynthCallback(self._callback)

    def _hear(self, samples: ctypes._Pointer[ctypes.c_short], count: int, _: object) -> int:
        if samples and count:
            self._pieces.append(ctypes.string_at(samples, 2 * count))
        return 0

    def say(self, text: str, rng: Random) -> Spoken:
        """Say it; no phones are given where espeak uses a sound that the 39 phones lack."""
        voice = f"{rng.choice(ACCENTS)}+{rng.choice(VARIANTS)}"
        self._library.espeak_SetVoiceByName(voice.encode())
        settings = {_RATE: (125, 220), _PITCH: (25, 75), _RANGE: (20, 80)}
        for parameter, (low, high) in settings.items():
            self._library.espeak_SetParameter(parameter, rng.randint(low, high), 0)
        self._pieces.clear()
        said = text.encode()
        self._library.espeak_Synth(said, len(said) + 1, 0, 1, 0, _UTF8, None, None)
        samples = np.frombuffer(b"".join(self._pieces), np.int16).astype(np.float32) / 32768
        return Spoken(
            samples=at_16_khz(samples, self._rate_hz),
            voice=f"espeak:{voice}",
            phones=from_espeak(self._ipa(said)) or [],
        )

    def _ipa(self, said: bytes) -> str:
        """Clause by clause, as espeak reads it."""
        clauses: list[bytes] = []
        rest = ctypes.c_char_p(said)
        while rest.value:
            clauses.append(
                self._library.espeak_TextToPhonemes(ctypes.byref(rest), _UTF8, _IPA) or b""
            )
        return b" ".join(clauses).decode()
