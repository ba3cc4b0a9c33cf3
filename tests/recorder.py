"""Stands in for the live loop beside a display: records in memory what is entered, and lives."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from voicecheck.core.inputs import Entered
from voicecheck.display.entries import Entries
from voicecheck.display.server import Display

Recorded = queue.Queue[Entered]


@contextmanager
def recording(display: Display, entries: Entries) -> Iterator[Recorded]:
    """Record every entry as soon as it comes; what was recorded, in its order."""
    recorded, ended = Recorded(), threading.Event()

    def live() -> None:
        while not ended.wait(0.01):
            display.beat()
            if entered := entries.take():
                recorded.put(entered)
                entries.recorded()

    loop = threading.Thread(target=live, daemon=True)
    loop.start()
    entries.open()
    try:
        yield recorded
    finally:
        ended.set()
        loop.join()
