"""The two clocks of a case: the wall's for people, one that never steps back for order."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from voicecheck.facts import At


def live(passed_us: int = 0) -> Callable[[float], At]:
    """A clock that runs by itself; `passed_us` have passed since the record was opened."""
    start_ns = time.monotonic_ns()

    def now(_audio_s: float) -> At:
        return _at(datetime.now(UTC), passed_us + (time.monotonic_ns() - start_ns) // 1000)

    return now


def live_after(last: At) -> tuple[Callable[[float], At], float]:
    """A live clock that goes on from the last line of a record, and the gap since in seconds.

    The wall clock is all that is left to measure the gap by; if it was set back, the gap is 0.
    """
    gap = datetime.now(UTC) - datetime.fromisoformat(last.utc)
    gap_s = max(0.0, round(gap.total_seconds(), 3))
    return live(last.mono_us + round(gap_s * 1_000_000)), gap_s


class Steps:
    """Notices when the wall clock is set, by the clock that never steps."""

    LEAST_S = 1.0

    def __init__(self) -> None:
        self._offset_s = time.time() - time.monotonic()

    def seen(self) -> str:
        """A sentence when the wall clock was set since the last call, else ""."""
        before_s, self._offset_s = self._offset_s, time.time() - time.monotonic()
        step_s = self._offset_s - before_s
        return f"The wall clock was set by {step_s:+.1f} s." if abs(step_s) > self.LEAST_S else ""


def driven_by_audio() -> Callable[[float], At]:
    """A clock that moves only as the audio does, from now on."""
    start = datetime.now(UTC)
    return lambda s: _at(start + timedelta(seconds=s), round(s * 1_000_000))


def _at(utc: datetime, mono_us: int) -> At:
    return At(utc=f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03d}Z", mono_us=mono_us)
