"""Graceful shutdown, asked for by the service manager (SIGTERM) or at the keyboard (SIGINT)."""

from __future__ import annotations

import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

GRACE_S = 8.0
"""How long a graceful shutdown may take; in order it takes 1 to 2 s (measured)."""


class Ending:
    """Whether the program was asked to end; a plain flag, because handlers must not take a lock."""

    asked = False

    def __init__(self) -> None:
        self.meanwhile: Callable[[], None] = lambda: None
        """Called again and again by `wait`."""
        self.last_words: Callable[[], None] = lambda: None
        """Called before the program is ended by force; must not wait long."""

    def wait(self, seconds: float) -> None:
        """Wait this long, or until asked to end."""
        until_s = time.monotonic() + seconds
        while not self.asked and time.monotonic() < until_s:
            self.meanwhile()
            time.sleep(0.05)


@contextmanager
def when_asked() -> Iterator[Ending]:
    """The first signal asks for a graceful shutdown; the second ends the program at once.

    If the program has not ended `GRACE_S` after the first, it is ended by force, with exit code 1.
    """
    ending = Ending()
    before = {each: signal.getsignal(each) for each in (signal.SIGTERM, signal.SIGINT)}
    seen, came = socket.socketpair()
    came.setblocking(False)

    def ask(_number: int, _frame: FrameType | None) -> None:
        ending.asked = True
        for each in before:
            signal.signal(each, signal.SIG_DFL)

    threading.Thread(target=_insist, args=(seen, ending), name="ending", daemon=True).start()
    waker = signal.set_wakeup_fd(came.fileno(), warn_on_full_buffer=False)
    for each in before:
        signal.signal(each, ask)
    try:
        yield ending
    finally:
        signal.set_wakeup_fd(waker)
        came.close()
        for each, handler in before.items():
            signal.signal(each, handler)


def _insist(signals: socket.socket, ending: Ending) -> None:
    """End the program by force if a signal does not end it: the main thread may stand still.

    Python's handlers run in the main thread only, but each signal's number comes through here
    (signal.set_wakeup_fd). The socket closes at the end of a graceful shutdown.
    """
    with signals:
        if not signals.recv(1):
            return
        signals.settimeout(GRACE_S)
        try:
            again = signals.recv(1)
        except TimeoutError:
            ending.last_words()
            os._exit(1)
        if again:
            os._exit(128 + again[0])  # as a shell reports a program that a signal ended
