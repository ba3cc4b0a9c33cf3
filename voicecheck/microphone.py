"""Live sound comes in as one `for` loop over blocks; what fails comes in as a Trouble.

To its user, a microphone, a file and a stream are alike: the form of a block is recording.py's,
whose loops this module hands on. The microphone's own blocks are shorter, for nothing may be
answered before its block has come. It never stops by itself, so its user can keep time by it.
"""

from __future__ import annotations

import contextlib
import importlib
import queue
import threading
import time
from typing import TYPE_CHECKING, Any, Protocol

from voicecheck.inputs import Trouble
from voicecheck.recording import RATE_HZ, AudioError, from_file, from_stream

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

__all__ = ["BLOCK_S", "RATE_HZ", "RETRY_S", "SILENCE", "AudioError", "Block", "Stream", "Watchdog"]
__all__ += ["from_file", "from_sound_card", "from_stream"]

Block = bytes | Trouble

BLOCK_S = 0.02
LATENCY_S = 0.04
"""Sound that waits in the card, asked for: what it gives is its own affair."""
SILENCE = bytes(2 * round(RATE_HZ * BLOCK_S))
"""The block that stands in for sound that does not come."""

STALLED_AFTER_S = 0.5
START_GRACE_S = 3.0
LAGGING_BY_S = 0.4
RETRY_S = 0.5
CLOCK_DRIFT = 0.0005
"""How far a sound card's clock may differ from ours: five times a usual crystal (from memory)."""
QUEUE_BLOCKS = round(3 / BLOCK_S)
"""Sound that waits for a slow computer: older than three seconds it is better lost, and said so."""


class Watchdog:
    """Judges one open stream by the blocks that came and when; PortAudio itself keeps silent.

    Thresholds are for failures provoked on a virtual sound card: the first block came up to 2.1 s
    after the start, the others 100–165 ms apart; of lost sound no flag told, only the clock.
    """

    def __init__(self, opened_s: float) -> None:
        self._last_s = self._began_s = opened_s
        self._heard_s = self._behind_s = self._usual_s = 0.0
        self.begun = False

    def heard(self, duration_s: float, came_s: float) -> str:
        """A block came; returns a complaint if sound before it is missing or stale, else ""."""
        if not self.begun:
            self.begun, self._began_s = True, came_s - duration_s
        allowed_s = self._usual_s + CLOCK_DRIFT * (came_s - self._last_s)
        self._heard_s += duration_s
        self._last_s = came_s
        behind_s = came_s - self._began_s - self._heard_s
        self._usual_s = min(behind_s, allowed_s)
        return _LAGGING if behind_s - self._usual_s > LAGGING_BY_S else ""

    def missed(self, now_s: float) -> str:
        """No block came; returns a complaint if none has for too long, else ""."""
        patience_s = STALLED_AFTER_S if self.begun else START_GRACE_S
        return _STALLED if now_s - self._last_s > patience_s else ""


_LAGGING = "A piece of the sound from the microphone was lost: say the last words again."
_STALLED = "No sound comes from the microphone: check its cable and its switch."
_GONE = "The microphone is gone: plug it in again."
_TOO_SLOW = "Sound was lost because the computer is too slow: end other programs on it."


class Stream(Protocol):
    """An open input, which delivers blocks in real time."""

    def read(self, timeout_s: float) -> tuple[bytes, float] | None:
        """The next block and when it came (monotonic, s); None when none comes in time."""

    def lost(self) -> bool:
        """Whether sound was dropped since the last question."""

    def alive(self) -> bool:
        """Whether more may come."""

    def close(self) -> None:
        """Let the device go."""


def from_sound_card(
    device: str | None = None,
    *,
    open_stream: Callable[[str | None], Stream] | None = None,
    clock_s: Callable[[], float] = time.monotonic,
    wait: Callable[[float], None] = time.sleep,
) -> Iterator[Block]:
    """Blocks in real time, for ever; raises AudioError at once if there is no microphone now.

    Every later failure is a Trouble, and its end another one; the device is opened again until it
    works. Meanwhile blocks of `SILENCE` stand in for the sound, in step with the clock.
    """
    open_it = open_stream or _PortAudioStream
    return _live(open_it(device), lambda: open_it(device), clock_s, wait)


def _live(
    stream: Stream,
    reopen: Callable[[], Stream],
    clock_s: Callable[[], float],
    wait: Callable[[float], None],
) -> Iterator[Block]:
    trouble = ""
    while True:
        try:
            for heard in _until_failure(stream, clock_s):
                if isinstance(heard, bytes):
                    if trouble and heard is not SILENCE:
                        yield Trouble(part="microphone", message=trouble, over=True)
                        trouble = ""
                    yield heard
                elif not trouble:
                    trouble = heard
                    yield Trouble(part="microphone", message=trouble)
        except BaseException:
            _aside(stream.close).join(1)
            raise
        stream = yield from _reopened(stream, reopen, wait)


def _until_failure(stream: Stream, clock_s: Callable[[], float]) -> Iterator[bytes | str]:
    """Blocks, silence while the first is awaited, and complaints; ends when it must be reopened."""
    watchdog = Watchdog(clock_s())
    while True:
        arrived = stream.read(BLOCK_S)
        if stream.lost():
            yield _TOO_SLOW
        if arrived:
            block, came_s = arrived
            complaint = watchdog.heard(len(block) / (2 * RATE_HZ), came_s)
        else:
            complaint = watchdog.missed(clock_s()) if stream.alive() else _GONE
            block = b"" if watchdog.begun else SILENCE
        if complaint:
            yield complaint
            return
        if block:
            yield block


def _reopened(
    stream: Stream, reopen: Callable[[], Stream], wait: Callable[[float], None]
) -> Generator[bytes, None, Stream]:
    """Silence until the device works again; closing and opening it may hang, so we wait aside."""
    opened: list[Stream] = []

    def attempt() -> None:
        with contextlib.suppress(AudioError):
            opened.append(reopen())

    working = _aside(stream.close)
    while not opened:
        for _ in range(round(RETRY_S / BLOCK_S)):
            wait(BLOCK_S)
            yield SILENCE
        if not working.is_alive() and not opened:
            working = _aside(attempt)
    return opened[0]


def _aside(work: Callable[[], None]) -> threading.Thread:
    """Start what may hang: PortAudio does, as long as the sound server is stopped."""
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(0.02)  # mostly it is done at once
    return thread


class _PortAudioStream:
    """A `Stream` of the sound card, through PortAudio, which calls us on a thread of its own."""

    def __init__(self, device: str | None) -> None:
        self._blocks: queue.Queue[tuple[bytes, float]] = queue.Queue(QUEUE_BLOCKS)
        self._lost, self._ended = threading.Event(), threading.Event()
        try:
            sounddevice = importlib.import_module("sounddevice")
            self._stream = sounddevice.RawInputStream(
                samplerate=RATE_HZ,
                blocksize=round(RATE_HZ * BLOCK_S),
                device=int(device) if device and device.isdecimal() else device,
                channels=1,
                dtype="int16",
                latency=LATENCY_S,
                callback=self._receive,
                finished_callback=self._ended.set,
            )
            self._stream.start()
        except Exception as error:
            self.close()
            raise _no_microphone(device, error) from error

    def _receive(self, data: Any, _frames: int, _time: object, status: Any) -> None:
        if status.input_overflow:
            self._lost.set()
        try:
            self._blocks.put_nowait((bytes(data), time.monotonic()))
        except queue.Full:
            self._lost.set()

    def read(self, timeout_s: float) -> tuple[bytes, float] | None:
        try:
            return self._blocks.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def lost(self) -> bool:
        was_lost = self._lost.is_set()
        self._lost.clear()
        return was_lost

    def alive(self) -> bool:
        return not self._ended.is_set()

    def close(self) -> None:
        with contextlib.suppress(Exception):  # a device that is gone may complain
            self._stream.close()


def _no_microphone(device: str | None, error: Exception) -> AudioError:
    """A sentence for whatever sounddevice raises: OSError, ValueError, PortAudioError."""
    if isinstance(error, OSError):
        return AudioError(
            "The sound library PortAudio is missing: install it (on Debian the package "
            "libportaudio2), or give a recording instead of the microphone."
        )
    return AudioError(
        f"The microphone {device or 'that the system uses by default'} cannot be opened "
        f"({error}): plug one in, name another, or end the program that holds it."
    )
