"""The three ways speech goes out: muted, into a WAV file, or through a loudspeaker.

All three have one interface: `say(text)` starts to speak and returns how many seconds it will take,
`stop()` falls silent, `prepare(texts)` renders ahead, `close()` ends, `voice` names the voice, and
`works` is false once the announcer must be replaced. There is only speech, no tone and no beep:
those belong to alarms (IEC 60601-1-8).
"""

from __future__ import annotations

import contextlib
import importlib
import threading
import time
import wave
from typing import TYPE_CHECKING, Any

import numpy as np

from voicecheck.sound.pcm import RATE_HZ
from voicecheck.voice.speech import AnnouncerError, Speech

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from voicecheck.voice.speech import Samples

__all__ = ["AnnouncerError", "Loudspeaker", "Muted", "Player", "Speech", "WavFile"]


LATENCY_S = 0.08
"""The sound card's buffer: with less, a busy machine underruns; with more, a stop comes late."""

STALLED_AFTER_S = 0.8
START_GRACE_S = 3.0
"""As for the microphone: on a virtual sound card the first block came up to 2.1 s late."""


class Muted:
    """Says nothing, so the machine is never deaf."""

    voice = "muted: prompts are only shown"
    works = True

    def prepare(self, texts: Iterable[str]) -> None:
        """Nothing to prepare."""

    def say(self, _text: str) -> float:
        """Say nothing, in 0 seconds."""
        return 0.0

    def sound(self, _text: str) -> Samples:
        """No sound."""
        return np.zeros(0, np.int16)

    def stop(self) -> None:
        """Nothing to silence."""

    def close(self) -> None:
        """Nothing to end."""


# ------------------------------------------------------------------------------------- a WAV file


class WavFile:
    """Speaks into a WAV file, in step with the case's sound: it shows what was said when."""

    works = True

    def __init__(
        self, path: Path, position_s: Callable[[], float], speech: Speech | None = None
    ) -> None:
        self._speech = speech or Speech()
        self._position_s, self._written = position_s, 0
        self._begin, self._pending = 0, np.zeros(0, np.int16)
        self.voice = self._speech.voice
        try:
            self._file = path.open("wb")
        except OSError as error:
            self._speech.close()
            raise AnnouncerError(
                f"{path} cannot be written ({error.strerror}): choose another file."
            ) from error
        self._wave = wave.open(self._file, "wb")  # noqa: SIM115  # closed by close
        self._wave.setparams((1, 2, RATE_HZ, 0, "NONE", ""))
        self._write(self._pending)

    def prepare(self, texts: Iterable[str]) -> None:
        """Render what is not in the cache."""
        self._speech.prepare(texts)

    def sound(self, text: str) -> Samples:
        """What that sounds like, 16 kHz mono s16; raises AnnouncerError."""
        return self._speech.samples(text)

    def say(self, text: str) -> float:
        """Speak from now, and cut off what is still being said. Returns seconds."""
        samples = self._speech.samples(text) if text else np.zeros(0, np.int16)
        self.stop()
        self._begin, self._pending = max(self._now(), self._written), samples
        return len(samples) / RATE_HZ

    def stop(self) -> None:
        """Cut off what is being said."""
        self._write_pending(max(0, self._now() - self._begin))

    def close(self) -> None:
        """Finish what is being said, and the file."""
        try:
            self._write_pending(len(self._pending))
            self._write(np.zeros(max(0, self._now() - self._written), np.int16))
            self._wave.close()
        finally:
            self._file.close()
            self._speech.close()

    def _now(self) -> int:
        return round(self._position_s() * RATE_HZ)

    def _write_pending(self, length: int) -> None:
        if len(self._pending):
            self._write(np.zeros(self._begin - self._written, np.int16))
            self._write(self._pending[:length])
            self._pending = self._pending[:0]

    def _write(self, samples: Samples) -> None:
        """Write samples and correct the header, so that any stop leaves a valid WAV file."""
        try:
            self._wave.writeframes(samples.astype("<i2").tobytes())
            self._file.flush()
        except OSError as error:
            raise AnnouncerError(
                f"{self._file.name} cannot be written ({error.strerror}): free some space."
            ) from error
        self._written += len(samples)


# ----------------------------------------------------------------------------------- loudspeaker


class Player:
    """Fills the sound card's blocks: with speech while there is some, else with silence."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._samples, self._stopping = np.zeros(0, np.int16), False

    def play(self, samples: Samples) -> None:
        """Speak this from the next block on, instead of what is being said."""
        with self._lock:
            self._samples, self._stopping = samples, False

    def stop(self) -> None:
        """Fade out within the next block, so that it ends without a click."""
        with self._lock:
            self._stopping = True

    def fill(self, block: Samples) -> None:
        """Write the next samples into the block, and silence after them."""
        with self._lock:
            now = self._samples[: len(block)]
            if self._stopping:
                now = (now * np.linspace(1, 0, len(now))).astype(np.int16)
            self._samples = self._samples[len(self._samples if self._stopping else block) :]
        block[: len(now)], block[len(now) :] = now, 0


class Loudspeaker:
    """Speaks through the sound card, on one stream that stays open."""

    def __init__(self, device: str | None = None, speech: Speech | None = None) -> None:
        self._device, self._player = device, Player()
        self._asked_s = time.monotonic() + START_GRACE_S
        self._stream = self._open()
        try:
            self._speech = speech or Speech()
        except AnnouncerError:
            self._close_stream()
            raise
        self.voice = self._speech.voice

    def prepare(self, texts: Iterable[str]) -> None:
        """Render what is not in the cache."""
        self._speech.prepare(texts)

    def sound(self, text: str) -> Samples:
        """What that sounds like, 16 kHz mono s16; raises AnnouncerError."""
        return self._speech.samples(text)

    def say(self, text: str) -> float:
        """Speak from now, instead of what is being said. Returns seconds; raises AnnouncerError."""
        if not text:
            return 0.0
        samples = self._speech.samples(text)
        self._player.play(samples)
        return len(samples) / RATE_HZ

    @property
    def works(self) -> bool:
        """Whether the sound card still asks for sound: a stopped sound server raises no error."""
        return self._stream.active and time.monotonic() - self._asked_s < STALLED_AFTER_S

    def stop(self) -> None:
        """Fall silent within two blocks of 10 ms plus the sound card's latency."""
        self._player.stop()

    def close(self) -> None:
        """Release the device."""
        self._close_stream()
        self._speech.close()

    def _open(self) -> Any:
        device = self._device
        try:
            stream = _portaudio().OutputStream(
                samplerate=RATE_HZ,
                blocksize=RATE_HZ // 100,
                device=int(device) if device and device.isdecimal() else device,
                channels=1,
                dtype="int16",
                latency=LATENCY_S,
                callback=self._fill,
            )
            stream.start()
        except Exception as error:
            raise _no_loudspeaker(device, error) from error
        return stream

    def _fill(self, block: Samples, *_: object) -> None:
        self._player.fill(block[:, 0])
        self._asked_s = max(self._asked_s, time.monotonic())

    def _close_stream(self) -> None:
        with contextlib.suppress(Exception):  # a device that is gone may complain
            self._stream.close()


def _portaudio() -> Any:
    """PortAudio, initialised again: only then does it look for devices.

    That ends other streams of this process. There are none: the microphone has its own process.
    """
    sounddevice = importlib.import_module("sounddevice")
    with contextlib.suppress(sounddevice.PortAudioError):  # it was not initialised
        sounddevice._terminate()
    sounddevice._initialize()
    return sounddevice


def _no_loudspeaker(device: str | None, error: Exception) -> AnnouncerError:
    """Say why no stream opened: sounddevice raises OSError if it lacks PortAudio itself."""
    if isinstance(error, OSError):
        return AnnouncerError(
            "The sound library PortAudio is missing: install it (on Debian the package "
            "libportaudio2), or run with --wav or --mute."
        )
    return AnnouncerError(
        f"The loudspeaker {device or 'that the system uses by default'} cannot be opened "
        f"({error}): plug one in, name another, or close the program that uses it."
    )
