"""The child process that captures sound.

Run as `python -m voicecheck.sound.capture RATE FRAMES LATENCY DEVICE`.

It first prints one JSON line: {} or {"error": …}. Then it writes for every block one byte (1 if
sound was lost before the block, else 0) and the block itself: FRAMES samples, mono s16. It ends
when its standard input closes or the device is gone.

Capture has its own process because PortAudio looks for devices only when it is initialised, and
hangs as long as the sound server hangs. A new process finds what is plugged in now, and one that
hangs can be killed. Neither disturbs the loudspeaker's stream.
"""

from __future__ import annotations

import importlib
import json
import os
import signal
import sys
import threading
from typing import Any


def main(rate_hz: int, frames: int, latency_s: float, device: str) -> None:
    """Write blocks until standard input closes; "" is the system's default device."""
    for number in (signal.SIGINT, signal.SIGTERM):  # the parent handles them
        signal.signal(number, signal.SIG_IGN)
    answered, lost = threading.Event(), threading.Event()

    def receive(data: Any, _frames: int, _time: object, status: Any) -> None:
        if status.input_overflow:
            lost.set()
        if answered.is_set():
            try:
                os.write(1, bytes([lost.is_set()]) + bytes(data))  # all or nothing: see pipe(7)
                lost.clear()
            except OSError:  # the pipe is full: sound that waits longer would be stale
                lost.set()

    try:
        stream = importlib.import_module("sounddevice").RawInputStream(
            samplerate=rate_hz,
            blocksize=frames,
            device=int(device) if device.isdecimal() else device or None,
            channels=1,
            dtype="int16",
            latency=latency_s,
            callback=receive,
            finished_callback=_end,
        )
        stream.start()
    except Exception as error:  # noqa: BLE001  # whatever PortAudio raises, tell the parent
        _answer(error=_no_microphone(device, error))
        return
    _answer()
    if sys.platform != "win32":  # on Windows a full pipe blocks
        os.set_blocking(1, False)
    answered.set()
    sys.stdin.read()
    _end()


def _end() -> None:
    """Exit at once: closing the stream may hang, and the system frees what we hold."""
    os._exit(0)


def _answer(**content: str) -> None:
    os.write(1, json.dumps(content).encode() + b"\n")


def _no_microphone(device: str, error: Exception) -> str:
    """A sentence for whatever sounddevice raises: OSError, ValueError, PortAudioError."""
    if isinstance(error, OSError):
        return (
            "The sound library PortAudio is missing: install it (on Debian the package "
            "libportaudio2), or use a recording instead of the microphone."
        )
    return (
        f"The microphone {device or 'that the system uses by default'} cannot be opened "
        f"({error}): plug one in, name another, or close the program that uses it."
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), sys.argv[4])
