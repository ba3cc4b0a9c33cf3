"""The two clocks of a case: the wall clock for people, a monotonic clock for order."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import TypeAlias

from voicecheck.core.facts import At

Clock: TypeAlias = Callable[[At | None], tuple[Callable[[float], At], float]]
"""Takes the moment of a record's last line, or None for a new record. Returns a function from the
audio position in seconds to the moment, and the gap since that line in seconds."""


def wall(last: At | None) -> tuple[Callable[[float], At], float]:
    """A clock in real time that continues from the last line of a record.

    Only the wall clock can measure the gap; if it was set back, the gap is 0.
    """
    passed_us, gap_s = 0, 0.0
    if last is not None:
        gap = datetime.now(UTC) - datetime.fromisoformat(last.utc)
        gap_s = max(0.0, round(gap.total_seconds(), 3))
        passed_us = last.mono_us + round(gap_s * 1_000_000)
    start_ns = time.monotonic_ns()

    def now(_audio_s: float) -> At:
        return _at(datetime.now(UTC), passed_us + (time.monotonic_ns() - start_ns) // 1000)

    return now, gap_s


def of_the_sound(_last: At | None = None) -> tuple[Callable[[float], At], float]:
    """A clock that starts now and advances only with the audio: for a recording in a new record."""
    start = datetime.now(UTC)
    return lambda s: _at(start + timedelta(seconds=s), round(s * 1_000_000)), 0.0


def stamp() -> str:
    """Now, in UTC to the second, as part of a file's name."""
    return f"{datetime.now(UTC):-%Y%m%dT%H%M%S}"


class Steps:
    """Notices when the wall clock is set: it steps against the monotonic clock."""

    LEAST_S = 1.0

    def __init__(self) -> None:
        self._offset_s = time.time() - time.monotonic()

    def seen(self) -> str:
        """A sentence if the wall clock was set since the last call, else ""."""
        before_s, self._offset_s = self._offset_s, time.time() - time.monotonic()
        step_s = self._offset_s - before_s
        return f"The wall clock was set by {step_s:+.1f} s." if abs(step_s) > self.LEAST_S else ""


def _at(utc: datetime, mono_us: int) -> At:
    return At(utc=f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03d}Z", mono_us=mono_us)
