"""The child process that captures sound.

Run as `python -m voicecheck.sound.capture RATE FRAMES LATENCY DEVICE`.

It first prints one JSON line {} or {"error": …}; then, for every block, one byte that says whether
sound was lost before it (1) or not (0), and the block: FRAMES samples, mono s16. It ends when its
standard input does or the device is gone. A process of its own, because PortAudio looks for devices
only when it is initialised, and hangs as long as a sound server does: a new process finds what is
plugged in now, is killed when it hangs, and the loudspeaker's stream notices neither.
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
    """Write blocks until nobody waits for them any more; an empty device is the system's own."""
    for number in (signal.SIGINT, signal.SIGTERM):  # meant for the parent, which ends in order
        signal.signal(number, signal.SIG_IGN)
    answered, lost = threading.Event(), threading.Event()

    def receive(data: Any, _frames: int, _time: object, status: Any) -> None:
        if status.input_overflow:
            lost.set()
        if answered.is_set():
            try:
                os.write(1, bytes([lost.is_set()]) + bytes(data))  # whole or not: see pipe(7)
                lost.clear()
            except OSError:  # nobody reads: what waited would be stale
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
    except Exception as error:  # noqa: BLE001  # whatever PortAudio raises, the parent is told
        _answer(error=_no_microphone(device, error))
        return
    _answer()
    if sys.platform != "win32":  # there a full pipe waits
        os.set_blocking(1, False)
    answered.set()
    sys.stdin.read()
    _end()


def _end() -> None:
    """At once: closing a stream may hang, and the system takes back what we held."""
    os._exit(0)


def _answer(**content: str) -> None:
    os.write(1, json.dumps(content).encode() + b"\n")


def _no_microphone(device: str, error: Exception) -> str:
    """A sentence for whatever sounddevice raises: OSError, ValueError, PortAudioError."""
    if isinstance(error, OSError):
        return (
            "The sound library PortAudio is missing: install it (on Debian the package "
            "libportaudio2), or give a recording instead of the microphone."
        )
    return (
        f"The microphone {device or 'that the system uses by default'} cannot be opened "
        f"({error}): plug one in, name another, or end the program that holds it."
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), sys.argv[4])
