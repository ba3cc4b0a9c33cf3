"""Prints without ever waiting for the terminal: a paused one must not hold up a live case."""

from __future__ import annotations

import os
import sys
import threading
from collections import deque
from contextlib import suppress

import click

MOST_TEXTS = 500
"""How many texts may wait: minutes of a busy case."""

LAST_WAIT_S = 1.0
"""How long the end waits for a terminal that takes nothing."""


class Printer:
    """Prints texts in a thread of its own; shows how many lines found no room."""

    def __init__(self) -> None:
        self._texts: deque[str] = deque()
        self._dropped = 0
        self._busy = self._closed = False
        self._change = threading.Condition()
        threading.Thread(target=self._print, name="printer", daemon=True).start()

    def say(self, text: str) -> None:
        """Print this as soon as the terminal takes it."""
        with self._change:
            if len(self._texts) >= MOST_TEXTS:
                self._dropped += text.count("\n") + 1
                return
            self._own_up()
            self._texts.append(text)
            self._change.notify_all()

    def close(self) -> None:
        """Wait until all is printed, but not for long; the thread ends once it can."""
        with self._change:
            self._own_up()
            self._closed = True
            self._change.notify_all()
            self._change.wait_for(lambda: not (self._texts or self._busy), LAST_WAIT_S)

    def _own_up(self) -> None:
        if self._dropped:
            self._texts.append(f"… {self._dropped} lines not shown")
            self._dropped = 0

    def _print(self) -> None:
        while True:
            with self._change:
                self._busy = False
                self._change.notify_all()
                self._change.wait_for(lambda: self._texts or self._closed)
                if not self._texts:
                    return
                text, self._busy = self._texts.popleft(), True
            with suppress(OSError):  # a terminal that is gone must not stop the case
                _write(text)


def _write(text: str) -> None:
    """Print past Python's buffer: a thread that hangs in it would spoil the end of the program."""
    try:
        terminal = sys.stdout.fileno()
    except (OSError, ValueError):  # no file of the system, as in a test
        click.echo(text)
        return
    left = f"{text if sys.stdout.isatty() else click.unstyle(text)}\n".encode(errors="replace")
    while left:
        left = left[os.write(terminal, left) :]
