"""Entries by hand on their way: each is answered once it is recorded, or told why it is not.

The status codes: RFC 9110, 15.3.5 (204), 15.5.10 (409) and 15.6.4 (503).
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from voicecheck.core.inputs import Entered

PATIENCE_S = 3.0
"""An entry that has waited this long is not taken any more."""

MOST_WAITING = 8
"""Entries at one time. A person needs one; a disk that stands still must not collect hundreds."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to an entry: an HTTP status and, unless it was recorded, a sentence."""

    status: int
    sentence: str = ""


RECORDED = Answer(204)
NOT_OPEN = Answer(503, "Not entered: the record is not open yet. Enter it again in a moment.")
TOO_MANY = Answer(503, "Not entered: too many entries are waiting. Enter it again in a moment.")
STANDS_STILL = Answer(503, "Not entered: the machine stands still.")
NOT_RECORDED = Answer(503, "Not recorded: enter it again.")
STOPPED = Answer(503, "Not entered: recording has stopped.")
ENDING = Answer(503, "Not entered: the program is ending. The record is still open.")
CLOSED = Answer(409, "Not entered: the record is closed.")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Entry:
    entered: Entered
    at_s: float
    answer: Callable[[Answer], None]

    @property
    def overdue(self) -> bool:
        return time.monotonic() - self.at_s > PATIENCE_S


class Entries:
    """The entries between the display and the live loop; any thread may call any method.

    At first the record is not open, and every entry is refused.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: deque[_Entry] = deque()
        self._taken: _Entry | None = None
        self._refusing: Answer | None = NOT_OPEN

    def open(self) -> None:
        """From now on entries may wait."""
        with self._lock:
            self._refusing = None

    def refuse(self, why: Answer) -> None:
        """Answer all that wait, and all that come, with this."""
        with self._lock:
            self._refusing = why
            refused = [*([self._taken] if self._taken else []), *self._waiting]
            self._taken = None
            self._waiting.clear()
        for entry in refused:
            entry.answer(why)

    def offer(self, entered: Entered, at_s: float, answer: Callable[[Answer], None]) -> None:
        """Let an entry wait that was made at `at_s` (monotonic); `answer` is called once."""
        entry = _Entry(entered=entered, at_s=at_s, answer=answer)
        with self._lock:
            why = self._refusing or (TOO_MANY if len(self._waiting) >= MOST_WAITING else None)
            why = why or (STANDS_STILL if entry.overdue else None)
            if why is None:
                self._waiting.append(entry)
        if why is not None:
            answer(why)

    def take(self) -> Entered | None:
        """The next entry, to be recorded before the next call; None if none waits."""
        self.withdraw_overdue()
        with self._lock:
            missed, self._taken = self._taken, self._waiting.popleft() if self._waiting else None
            taken = self._taken
        if missed is not None:
            missed.answer(NOT_RECORDED)
        return taken.entered if taken else None

    def recorded(self) -> None:
        """The entry that was taken last is on disk."""
        with self._lock:
            entry, self._taken = self._taken, None
        if entry is not None:
            entry.answer(RECORDED)

    def withdraw_overdue(self) -> None:
        """Answer those that have waited too long; they are not taken any more."""
        with self._lock:
            overdue = [entry for entry in self._waiting if entry.overdue]
            self._waiting = deque(entry for entry in self._waiting if entry not in overdue)
        for entry in overdue:
            entry.answer(STANDS_STILL)
