"""Graceful shutdown, asked for by the service manager (SIGTERM) or at the keyboard (SIGINT)."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Ending:
    """Whether the program was asked to end; a plain flag, because handlers must not take a lock."""

    asked = False

    def wait(self, seconds: float) -> None:
        """Wait this long, or until asked to end."""
        until_s = time.monotonic() + seconds
        while not self.asked and time.monotonic() < until_s:
            time.sleep(0.05)


@contextmanager
def when_asked() -> Iterator[Ending]:
    """The first signal asks for a graceful shutdown; the second ends the program at once."""
    ending = Ending()
    before = {each: signal.getsignal(each) for each in (signal.SIGTERM, signal.SIGINT)}

    def ask(_number: int, _frame: FrameType | None) -> None:
        ending.asked = True
        for each in before:
            signal.signal(each, signal.SIG_DFL)

    for each in before:
        signal.signal(each, ask)
    try:
        yield ending
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
