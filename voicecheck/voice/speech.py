"""Turns texts into speech: rendered by a child process, checked, trimmed and cached."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from voicecheck.sound.pcm import RATE_HZ
from voicecheck.voice.tones import tone

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Samples = NDArray[np.int16]

_WAV = "said.wav"


class AnnouncerError(Exception):
    """Speech fails: a sentence with cause and cure. The case goes on without it."""


def estimated_s(text: str) -> float:
    """How long a text takes to say, in seconds, from its letters and its pauses.

    Both figures were fitted to our 54 prompts of 4 to 16 words, as espeak-ng says them at 165 words
    a minute; each estimate is within 13 %.
    """
    return 0.055 * len(text) + 0.3 * len(re.findall(r"[.,:;?!](?= )", text))


class Speech:
    """Texts as samples (16 kHz mono s16), rendered by one child process and cached.

    Raises AnnouncerError: at once if there is no engine, later if a text cannot be rendered.
    """

    def __init__(
        self,
        cache: Path | None = None,
        *,
        timeout_s: float = 10,
        command: Sequence[str] = (sys.executable, "-m", "voicecheck.voice.speech_render"),
    ) -> None:
        self._cache, self._timeout_s, self._command = cache or _cache_folder(), timeout_s, command
        self._child: subprocess.Popen[str] | None = None
        self.voice = ""
        self._start()

    def prepare(self, texts: Iterable[str]) -> None:
        """Render what is not in the cache."""
        for text in texts:
            self.samples(text)

    def samples(self, text: str) -> Samples:
        """The text spoken, without silence before or after it; or the tone it stands for."""
        if (sound := tone(text)) is not None:
            return sound
        kept = self._cache / hashlib.sha256(f"{self.voice}\n{text}".encode()).hexdigest()
        found = _read_kept(kept)
        if found is None:
            found = self._rendered(text)
            if not _is_whole(found, text):  # about one in 200 returns before it is rendered
                found = self._rendered(text)
            if not _is_whole(found, text):
                raise _no_speech(f"it gave no sound for {text!r}")
            with contextlib.suppress(OSError):  # a cache that cannot be written only costs time
                _keep(kept, found)
        return found

    def close(self) -> None:
        """Kill the child process."""
        if self._child is not None:
            self._child.kill()
            with self._child:  # waits, and closes its pipes
                self._child = None

    def _rendered(self, text: str) -> Samples:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / _WAV
            self._ask({"text": text, "path": str(path)})
            try:
                samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
            except (OSError, soundfile.LibsndfileError) as error:
                raise _no_speech(str(error)) from error
        return _trimmed(soxr.resample(samples.mean(axis=1), rate_hz, RATE_HZ))

    def _start(self) -> subprocess.Popen[str]:
        try:
            child = self._child = subprocess.Popen(  # noqa: S603  # our own module, no shell
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                encoding="utf-8",
            )
        except OSError as error:
            raise _no_speech(str(error)) from error
        self.voice = self._answer(child).get("voice", "")
        return child

    def _ask(self, order: dict[str, str]) -> None:
        """Give the child one order; a child that was killed before is started again."""
        child = self._child or self._start()
        assert child.stdin is not None  # noqa: S101
        with contextlib.suppress(OSError):  # if the child is gone, its missing answer shows it
            child.stdin.write(json.dumps(order) + "\n")
            child.stdin.flush()
        self._answer(child)

    def _answer(self, child: subprocess.Popen[str]) -> dict[str, str]:
        """The child's next line; kills a child that reports an error or does not answer in time."""
        assert child.stdout is not None  # noqa: S101
        timer = threading.Timer(self._timeout_s, child.kill)
        timer.start()
        try:
            answer: dict[str, str] = json.loads(child.stdout.readline())
        except ValueError:
            answer = {"error": f"it gave no answer within {self._timeout_s:g} seconds or ended"}
        finally:
            timer.cancel()
        if "error" in answer:
            self.close()
            raise _no_speech(answer["error"])
        return answer


def _no_speech(why: str) -> AnnouncerError:
    return AnnouncerError(
        f"The speech engine does not speak ({why}): install espeakng-loader or espeak-ng; "
        "until then the prompts are only shown."
    )


def _cache_folder() -> Path:
    home = os.environ.get("XDG_CACHE_HOME")
    return (Path(home) if home else Path.home() / ".cache") / "voicecheck" / "speech"


def _trimmed(samples: NDArray[np.float32]) -> Samples:
    """From the first to the last sample above -50 dB of full scale, in 16 bits."""
    loud = np.flatnonzero(np.abs(samples) > 0.003)
    heard = samples[loud[0] : loud[-1] + 1] if len(loud) else samples[:0]
    return np.clip(np.rint(heard * 32767), -32768, 32767).astype("<i2")


def _is_whole(samples: Samples, text: str) -> bool:
    """Whether all was rendered: engines report success even for silence or a part."""
    loud = np.max(np.abs(samples), initial=0) >= 1000
    return bool(loud) and len(samples) >= RATE_HZ * estimated_s(text) / 4


def _read_kept(path: Path) -> Samples | None:
    """The samples in a cache file, if they match the SHA-256 before them; otherwise None."""
    try:
        content = path.read_bytes()
    except OSError:
        return None
    digest, samples = content[:32], content[32:]
    if not samples or hashlib.sha256(samples).digest() != digest:
        return None
    return np.frombuffer(samples, "<i2")


def _keep(path: Path, samples: Samples) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    content = samples.tobytes()
    with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as part:
        part.write(hashlib.sha256(content).digest() + content)
    Path(part.name).replace(path)
