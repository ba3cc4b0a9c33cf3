"""The clocks of a case: the wall clock for people, the computer's boot clock for order and gaps."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

from voicecheck.core.facts import At, Opened, Record
from voicecheck.core.inputs import Restarted

Now: TypeAlias = Callable[[float], At]
"""From the audio position in seconds to the moment."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ended:
    """Where a record ends, and when its last run began by the boot clock."""

    at: At
    began: At
    boot: str
    boot_us: int


Clock: TypeAlias = Callable[[Ended | None], tuple[Now, float]]
"""Takes where a record ends, or None for a new one. Returns the clock that goes on from there, and
the gap since then in seconds, negative if unknown."""


def ended(records: Sequence[Record]) -> Ended | None:
    """Where these records end; None if there are none."""
    starts = [
        (record.at, start)
        for record in records
        for start in (record.fact, record.cause)
        if isinstance(start, Opened | Restarted)
    ]
    if not starts:
        return None
    began, start = starts[-1]
    return Ended(at=records[-1].at, began=began, boot=start.boot, boot_us=start.boot_us)


def wall(end: Ended | None) -> tuple[Now, float]:
    """A clock in real time that goes on from the end of a record."""
    gap_s = _gap_s(end) if end else 0.0
    passed_us = end.at.mono_us + round(max(0.0, gap_s) * 1_000_000) if end else 0
    start_us = boot_us()

    def now(_audio_s: float) -> At:
        return _at(datetime.now(UTC), passed_us + boot_us() - start_us)

    return now, gap_s


def _gap_s(end: Ended) -> float:
    """Seconds since the record ended; negative if unknown.

    The boot clock measures it as long as the computer was not started anew. After that only the
    wall clock can. It was set back if it gives less time than the computer has been running.
    """
    up_us = boot_us()
    if end.boot and end.boot == boot():
        passed_us = end.at.mono_us - end.began.mono_us
        return round(max(0, up_us - end.boot_us - passed_us) / 1_000_000, 3)
    gap = datetime.now(UTC) - datetime.fromisoformat(end.at.utc)
    least_s = up_us / 1_000_000 if end.boot and boot() else 0.0
    return round(gap.total_seconds(), 3) if gap.total_seconds() >= least_s else -1.0


def boot() -> str:
    """Which start of the computer this is (random(4): boot_id); "" where the system has none."""
    with suppress(OSError):
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    return ""


def boot_us() -> int:
    """Microseconds since the computer was started, also those asleep where the system counts them.

    See clock_gettime(2): CLOCK_BOOTTIME. Elsewhere: by Python's monotonic clock.
    """
    counts = getattr(time, "CLOCK_BOOTTIME", None)
    return (time.monotonic_ns() if counts is None else time.clock_gettime_ns(counts)) // 1000


def of_the_sound(_end: Ended | None = None) -> tuple[Now, float]:
    """A clock that starts now and advances only with the audio: for a recording in a new record."""
    start = datetime.now(UTC)
    return lambda s: _at(start + timedelta(seconds=s), round(s * 1_000_000)), 0.0


def stamp() -> str:
    """Now, in UTC to the second, as part of a file's name."""
    return f"{datetime.now(UTC):-%Y%m%dT%H%M%S}"


class Steps:
    """Notices when the wall clock is set: it steps against the boot clock."""

    LEAST_S = 1.0

    def __init__(self) -> None:
        self._offset_s = _offset_s()

    def seen(self) -> str:
        """A sentence if the wall clock was set since the last call, else ""."""
        before_s, self._offset_s = self._offset_s, _offset_s()
        step_s = self._offset_s - before_s
        return f"The wall clock was set by {step_s:+.1f} s." if abs(step_s) > self.LEAST_S else ""


def _offset_s() -> float:
    return time.time() - boot_us() / 1_000_000


def _at(utc: datetime, mono_us: int) -> At:
    return At(utc=f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03d}Z", mono_us=mono_us)
