"""Play an invented case to the machine, taking turns with it as a person would."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from voicecheck.scenario import Recording, Scenario

RATE_HZ = 16_000
_BLOCK = RATE_HZ // 10
_LEAST_QUIET_S = 1.0
"""A person leaves at least this much before going on."""


def take_turns(
    scenario: Scenario, recording: Recording, audio: bytes, ready: Callable[[], bool]
) -> Iterator[bytes]:
    """Blocks of 0.1 s, 16 kHz mono s16: a line is spoken, then quiet until `ready` says go on.

    `audio` is the whole recording; its cues say where each line is.
    """
    quiet = _room_tone()
    for line, (from_s, to_s) in zip(scenario.lines, recording.cues, strict=True):
        yield from _until(ready, quiet, 0.3)
        yield from _blocks(audio[_byte(from_s) : _byte(to_s)])
        yield from _until(ready, quiet, max(line.wait_s, _LEAST_QUIET_S))


def _until(ready: Callable[[], bool], quiet: Iterator[bytes], least_s: float) -> Iterator[bytes]:
    """Quiet for so long, not counting the time while the machine speaks."""
    waited_s = 0.0
    while waited_s < least_s or not ready():
        yield next(quiet)
        waited_s += _BLOCK / RATE_HZ * ready()


def _blocks(audio: bytes) -> Iterator[bytes]:
    size = 2 * _BLOCK
    return (audio[start : start + size] for start in range(0, len(audio), size))


def _byte(at_s: float) -> int:
    return 2 * round(at_s * RATE_HZ)


def _room_tone() -> Iterator[bytes]:
    """Faint noise, about -66 dBFS: a room is never digitally silent."""
    noise = np.random.default_rng(2).normal(0.0, 16.0, _BLOCK * 50).astype("<i2").tobytes()
    while True:
        yield from _blocks(noise)
