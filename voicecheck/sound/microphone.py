"""Live sound comes in as one `for` loop over blocks; what fails comes in as a Trouble.

To its user, a microphone, a file and a stream are alike: the form of a block is recording.py's. The
microphone's own blocks are shorter, for nothing may be answered before its block has come. It never
stops by itself, so its user can keep time by it.
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
from voicecheck.sound.pcm import RATE_HZ
from voicecheck.sound.recording import AudioError
from voicecheck.sound.watchdog import STALLED, START_GRACE_S, Watchdog

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

__all__ = ["BLOCK_S", "RATE_HZ", "SILENCE", "AudioError", "Block", "Stream", "from_sound_card"]

Block = bytes | Trouble

BLOCK_S = 0.02
LATENCY_S = 0.04
"""Sound that waits in the card, asked for: what it gives is its own affair."""
SILENCE = bytes(2 * round(RATE_HZ * BLOCK_S))
"""The block that stands in for sound that does not come."""

RETRY_S = 0.5
OPENING_S = 10.0
"""Longer than a slow machine takes for it (measured: 0.1 to 0.4 s on a busy one)."""
QUEUE_BLOCKS = round(3 / BLOCK_S)
"""Sound that waits for a slow computer: older than three seconds it is better lost, and said so."""


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
    patient: bool = False,
    open_stream: Callable[[str | None], Stream] | None = None,
    clock_s: Callable[[], float] = time.monotonic,
    wait: Callable[[float], None] = time.sleep,
) -> Iterator[Block]:
    """Blocks in real time, for ever; raises AudioError at once if there is no microphone now.

    When `patient`, that is a Trouble as every later failure is, and its end another one; the device
    is opened again until it works. Meanwhile blocks of `SILENCE` stand in for the sound, in step
    with the clock.
    """
    make = open_stream or _Captured

    def open_it() -> Stream:
        return make(device)

    return _live(_sound(None if patient else open_it(), open_it, clock_s, wait))


def _live(sound: Iterator[bytes | str]) -> Iterator[Block]:
    """A complaint becomes a Trouble, which is over with the next sound; meanwhile no other one."""
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
    """Sound and complaints, of one stream after the other."""
    if stream is None:
        stream = yield from _opened(None, open_it, wait)
    while True:
        try:
            yield from _until_failure(stream, clock_s)
        except BaseException:
            _aside(stream.close).join(1)
            raise
        stream = yield from _opened(stream, open_it, wait)


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


def _opened(
    failed: Stream | None, open_it: Callable[[], Stream], wait: Callable[[float], None]
) -> Generator[bytes | str, None, Stream]:
    """Silence, and why there is no sound, until there is; closing and opening it may hang, so we
    wait aside.
    """
    opened: list[Stream] = []
    complaints: list[str] = []

    def attempt() -> None:
        try:
            opened.append(open_it())
        except AudioError as error:
            complaints.append(str(error))

    working, waited_s = _aside(failed.close if failed else attempt), 0.0
    while not opened:
        wait(BLOCK_S)
        waited_s += BLOCK_S
        yield SILENCE
        if complaints:
            yield complaints.pop()
        if waited_s > START_GRACE_S:
            yield STALLED
        if waited_s >= RETRY_S and not working.is_alive() and not opened:
            working, waited_s = _aside(attempt), 0.0
    return opened[0]


def _aside(work: Callable[[], None]) -> threading.Thread:
    """Start what may hang: PortAudio does, as long as the sound server is stopped."""
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(0.02)  # mostly it is done at once
    return thread


class _Captured:
    """A `Stream` of the sound card, through a process of its own: what it sends, see capture.py."""

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
    """Why it could not open the microphone; "" when it did. One that does not answer is ended."""
    assert child.stdout is not None  # noqa: S101
    timer = threading.Timer(OPENING_S, child.kill)
    timer.start()
    try:
        answer: dict[str, str] = json.loads(child.stdout.readline())
    except ValueError:
        return "The microphone did not open: plug it in again, or end the program that holds it."
    finally:
        timer.cancel()
    return answer.get("error", "")
