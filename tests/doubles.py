"""Stand-ins for the ports of a live case, each held to its port's contract by test_ports.py."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from voicecheck.core.inputs import Heard, Trouble
from voicecheck.journal import JournalError
from voicecheck.sound.pcm import BYTES_A_SECOND, RATE_HZ


@dataclass
class Disk:
    """A log in memory. `order` gets "recorded" with each line; once full, it fails for good."""

    order: list[str] = field(default_factory=list)
    lines: list[bytes] = field(default_factory=list)
    full: bool = False
    _failed: bool = False

    def append(self, line: bytes) -> None:
        self._failed |= self.full
        if self._failed:
            raise JournalError("No space left on device")
        self.order.append("recorded")
        self.lines.append(line)


@dataclass
class ScriptedEars:
    """Hears a text at the end of each block that the script names by its number, from 1."""

    script: Mapping[int, str] = field(default_factory=dict)
    sure: float = 1.0
    unfinished: str = ""
    """What is still being said when the sound ends."""
    blocks: int = 0
    passed_s: float = 0.0
    begun_anew: int = 0
    lasts_s: float = 0.1
    """How long each utterance took."""

    def hear(self, block: bytes) -> list[Heard]:
        self.blocks += 1
        self.passed_s += len(block) / BYTES_A_SECOND
        return self._heard(self.script.get(self.blocks, ""))

    def skip(self, block: bytes) -> None:
        self.passed_s += len(block) / BYTES_A_SECOND
        self.unfinished = ""

    def begin_anew(self) -> None:
        self.begun_anew += 1

    def finish(self) -> list[Heard]:
        text, self.unfinished = self.unfinished, ""
        return self._heard(text)

    def _heard(self, text: str) -> list[Heard]:
        from_s, to_s = round(self.passed_s - self.lasts_s, 2), round(self.passed_s, 2)
        heard = Heard(
            text=text,
            confidence=self.sure,
            audio_from_s=from_s,
            audio_to_s=to_s,
            addressed=self.sure if text.startswith("checklist") else 0.0,
        )
        return [heard] if text else []


@dataclass
class Speaker:
    """A voice that takes the same time for every text. `order` gets "said" and "stopped"."""

    takes_s: float = 0.0
    order: list[str] = field(default_factory=list)
    broken: str = ""
    """Why nothing can be said; "" while it works."""
    rendering_s: float = 0.0
    """How long it takes to make each prompt."""
    ready_s: float = 0.0
    """All the time that was spent so."""
    _told: bool = False

    def say(self, text: str) -> float:
        self.order.append("said")
        self.ready_s += self.rendering_s
        return self.takes_s if text and not self.broken else 0.0

    def sound(self, _text: str) -> NDArray[np.int16]:
        return np.zeros(round(self.takes_s * RATE_HZ), np.int16)

    def stop(self) -> None:
        self.order.append("stopped")

    def news(self) -> Trouble | None:
        fails = bool(self.broken)
        if fails is self._told:
            return None
        self._told = fails
        return Trouble(part="voice", message=self.broken or "It speaks again.", over=not fails)


# --------------------------------------------------------------------------------- a microphone

SOUND = b"\x01\x00" * 1600
"""A block of 0.1 s that is not silent."""


class ScriptedClock:
    """Time that passes only when somebody waits, in seconds."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.now_s += seconds


@dataclass
class Card:
    """A microphone's stream: blocks at these times; then nothing, or the end."""

    clock: ScriptedClock
    arrivals_s: Iterator[float]
    dies_s: float = float("inf")
    lost_s: list[float] = field(default_factory=list)
    closed: bool = False
    _next_s: float | None = None

    def read(self, timeout_s: float) -> tuple[bytes, float] | None:
        until_s = self.clock.now_s + timeout_s
        if self._next_s is None:
            self._next_s = next(self.arrivals_s, float("inf"))
        if self._next_s > min(until_s, self.dies_s):
            self.clock.now_s = until_s
            return None
        came_s, self._next_s = self._next_s, None
        self.clock.now_s = max(self.clock.now_s, came_s)
        return SOUND, came_s

    def lost(self) -> bool:
        if self.lost_s and self.clock.now_s >= self.lost_s[0]:
            del self.lost_s[0]
            return True
        return False

    def alive(self) -> bool:
        return self.clock.now_s < self.dies_s

    def close(self) -> None:
        self.closed = True


def steady(begin_s: float, end_s: float = float("inf"), every_s: float = 0.1) -> Iterator[float]:
    """When the blocks of a microphone come that never falters."""
    block = 1
    while begin_s + block * every_s <= end_s:
        yield begin_s + block * every_s
        block += 1
