"""Live sound as one endless iterator of blocks, with each failure as a Trouble.

A microphone, a file and a stream look alike to their user: recording.py says what a block is. The
microphone's blocks are shorter, because nothing can be answered before its block is complete. It
never stops by itself, so its user can keep time by it.
"""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
import time
from typing import IO, TYPE_CHECKING, Protocol

from voicecheck.core.inputs import Trouble
from voicecheck.core.legible import legible
from voicecheck.sound.background import in_background
from voicecheck.sound.pcm import RATE_HZ
from voicecheck.sound.recording import AudioError
from voicecheck.sound.watchdog import STALLED, START_GRACE_S, Watchdog

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

__all__ = ["BLOCK_S", "RATE_HZ", "SILENCE", "AudioError", "Block", "Stream", "from_sound_card"]

Block = bytes | Trouble

BLOCK_S = 0.02
LATENCY_S = 0.04
"""The latency that we ask of the sound card; it may choose another."""
SILENCE = bytes(2 * round(RATE_HZ * BLOCK_S))
"""The block that stands in for missing sound."""

RETRY_S = 0.5
OPENING_S = 10.0
"""Timeout for opening; a busy machine took 0.1 to 0.4 s (measured)."""
QUEUE_BLOCKS = round(3 / BLOCK_S)
"""The queue holds three seconds for a slow computer. What exceeds it is dropped and reported."""

_GONE = "The microphone is gone: plug it in again."
_TOO_SLOW = "Sound was lost because the computer is too slow: close other programs on it."


class Stream(Protocol):
    """An open input that delivers blocks in real time."""

    def read(self, timeout_s: float) -> tuple[bytes, float] | None:
        """The next block and when it came (monotonic, s); None when none comes in time."""

    def lost(self) -> bool:
        """Whether sound was dropped since the last call."""

    def alive(self) -> bool:
        """Whether more may come."""

    def close(self) -> None:
        """Release the device."""


def from_sound_card(
    device: str | None = None,
    *,
    patient: bool = False,
    open_stream: Callable[[str | None], Stream] | None = None,
    clock_s: Callable[[], float] = time.monotonic,
    wait: Callable[[float], None] = time.sleep,
) -> Iterator[Block]:
    """Endless blocks in real time; raises AudioError at once if there is no microphone now.

    If `patient`, a missing microphone is a Trouble instead. Every later failure is one, too, and
    another Trouble says when it is over. The device is reopened until it works. Meanwhile blocks of
    `SILENCE` stand in for the sound, in step with the clock.
    """
    make = open_stream or _Captured

    def open_it() -> Stream:
        return make(device)

    return _live(_sound(None if patient else open_it(), open_it, clock_s, wait))


def _live(sound: Iterator[bytes | str]) -> Iterator[Block]:
    """The first complaint becomes a Trouble, which the next sound ends; others are dropped."""
    trouble = ""
    for heard in sound:
        if isinstance(heard, str):
            if not trouble:
                trouble = heard
                yield Trouble(part="microphone", message=trouble)
            continue
        if trouble and heard is not SILENCE:
            yield Trouble(part="microphone", message=trouble, over=True)
            trouble = ""
        yield heard


def _sound(
    stream: Stream | None,
    open_it: Callable[[], Stream],
    clock_s: Callable[[], float],
    wait: Callable[[float], None],
) -> Iterator[bytes | str]:
    """Sound and complaints, from one stream after another."""
    if stream is None:
        stream = yield from _opened(None, open_it, wait)
    while True:
        try:
            yield from _until_failure(stream, clock_s)
        except BaseException:
            in_background(stream.close).join(1)
            raise
        stream = yield from _opened(stream, open_it, wait)


def _until_failure(stream: Stream, clock_s: Callable[[], float]) -> Iterator[bytes | str]:
    """Blocks and complaints, silence before the first block; ends when it must be reopened."""
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


def _opened(
    failed: Stream | None, open_it: Callable[[], Stream], wait: Callable[[float], None]
) -> Generator[bytes | str, None, Stream]:
    """Silence and complaints until a stream is open.

    Closing and opening may hang, so both run in the background.
    """
    opened: list[Stream] = []
    complaints: list[str] = []

    def attempt() -> None:
        try:
            opened.append(open_it())
        except AudioError as error:
            complaints.append(str(error))

    working, waited_s = in_background(failed.close if failed else attempt), 0.0
    while not opened:
        wait(BLOCK_S)
        waited_s += BLOCK_S
        yield SILENCE
        if complaints:
            yield complaints.pop()
        if waited_s > START_GRACE_S:
            yield STALLED
        if waited_s >= RETRY_S and not working.is_alive() and not opened:
            working, waited_s = in_background(attempt), 0.0
    return opened[0]


class _Captured:
    """A `Stream` of the sound card, through a child process (see capture.py)."""

    def __init__(self, device: str | None) -> None:
        frames = round(RATE_HZ * BLOCK_S)
        form = (str(RATE_HZ), str(frames), str(LATENCY_S))
        try:
            self._child = subprocess.Popen(  # noqa: S603  # our own module, no shell
                (sys.executable, "-m", "voicecheck.sound.capture", *form, device or ""),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise AudioError(f"The microphone's process does not start ({error}).") from error
        assert self._child.stdout is not None  # noqa: S101
        self._blocks: queue.Queue[tuple[bytes, float]] = queue.Queue(QUEUE_BLOCKS)
        self._lost = threading.Event()
        self._reader = threading.Thread(
            target=self._receive, args=(self._child.stdout, 1 + 2 * frames), daemon=True
        )
        complaint = _answered(self._child)
        if complaint:
            self.close()
            raise AudioError(complaint)
        self._reader.start()

    def _receive(self, pipe: IO[bytes], length: int) -> None:
        while len(sent := pipe.read(length)) == length:
            if sent[0]:
                self._lost.set()
            try:
                self._blocks.put_nowait((sent[1:], time.monotonic()))
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
        return self._reader.is_alive()

    def close(self) -> None:
        self._child.kill()
        if self._reader.is_alive():
            self._reader.join()
        with self._child:  # waits, and closes its pipes
            pass


def _answered(child: subprocess.Popen[bytes]) -> str:
    """Why the child could not open the microphone, or ""; kills a child that does not answer."""
    assert child.stdout is not None  # noqa: S101
    timer = threading.Timer(OPENING_S, child.kill)
    timer.start()
    try:
        answer: dict[str, str] = json.loads(child.stdout.readline())
    except ValueError:
        return "The microphone did not open: plug it in again, or close the program that uses it."
    finally:
        timer.cancel()
    return legible(answer.get("error", ""))
