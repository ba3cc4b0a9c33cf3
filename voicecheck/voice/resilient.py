"""A voice that never stops the case: it reports a failure once and replaces the announcer."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Protocol

import numpy as np

from voicecheck.core.inputs import Trouble
from voicecheck.core.legible import legible
from voicecheck.sound.background import in_background
from voicecheck.voice.announcer import AnnouncerError
from voicecheck.voice.speech import Samples

RETRY_S = 0.5
"""Between two attempts to replace an announcer."""


class _Announcer(Protocol):
    voice: str

    @property
    def works(self) -> bool: ...

    def prepare(self, texts: Iterable[str]) -> None: ...

    def say(self, text: str) -> float: ...

    def sound(self, text: str) -> Samples: ...

    def stop(self) -> None: ...

    def close(self) -> None: ...


class ResilientVoice:
    """Speaks through an announcer while it works; `news` reports each change once."""

    def __init__(self, make: Callable[[], _Announcer]) -> None:
        """Call `make` now, and after each failure again in the background until it works."""
        self._make = make
        self._announcer: _Announcer | None = None
        self._news: Trouble | None = None
        self._fails = False
        self._mending: threading.Thread | None = None
        self._retry_s = 0.0
        try:
            self._announcer = make()
        except AnnouncerError as error:
            self._failed(str(error))

    @property
    def voice(self) -> str:
        """Which voice speaks, for the log."""
        return self._announcer.voice if self._announcer else "none: prompts are only shown"

    def prepare(self, texts: Iterable[str]) -> None:
        """Render what will probably be said."""
        try:
            if self._announcer is not None:
                self._announcer.prepare(texts)
        except AnnouncerError as error:
            self._failed(str(error))

    def say(self, text: str) -> float:
        """Start to speak; returns how many seconds it will take, 0 if nothing can be said."""
        announcer = self._announcer
        if announcer is None or not announcer.works:
            return 0.0
        try:
            length_s = announcer.say(text)
        except AnnouncerError as error:
            self._failed(str(error))
            return 0.0
        if length_s:
            self._mended()
        return length_s

    def sound(self, text: str) -> Samples:
        """What that sounds like, 16 kHz mono s16; empty if nothing can be said."""
        announcer = self._announcer
        with suppress(AnnouncerError):  # `say` has told it, or will
            if announcer is not None and announcer.works:
                return announcer.sound(text)
        return np.zeros(0, np.int16)

    def stop(self) -> None:
        """Fall silent at once."""
        if (announcer := self._announcer) is not None:
            try:
                announcer.stop()
            except AnnouncerError as error:
                self._failed(str(error))

    def close(self) -> None:
        """Release the loudspeaker; wait at most a second, for a stopped sound server hangs this."""
        if (announcer := self._announcer) is not None:
            in_background(announcer.close).join(1)

    def news(self) -> Trouble | None:
        """What changed since the last call, or None. Call it often: it also mends the voice."""
        self._look_after()
        news, self._news = self._news, None
        return news

    def _look_after(self) -> None:
        if self._mending is not None:
            self._end_mending(self._mending)
        elif self._announcer is None or not self._announcer.works:
            self._failed(_GONE)
            if time.monotonic() >= self._retry_s:
                self._mending = in_background(self._make_anew)

    def _end_mending(self, mending: threading.Thread) -> None:
        if mending.is_alive():
            return
        self._mending, self._retry_s = None, time.monotonic() + RETRY_S
        if self._announcer is not None:
            self._mended()

    def _make_anew(self) -> None:
        gone, self._announcer = self._announcer, None
        try:
            if gone is not None:
                gone.close()
            self._announcer = self._make()
        except AnnouncerError:
            return  # already reported

    def _failed(self, message: str) -> None:
        if not self._fails:
            self._news = Trouble(part="voice", message=legible(message))
        self._fails = True

    def _mended(self) -> None:
        if self._fails:
            self._news = Trouble(part="voice", message="Speech works again.", over=True)
        self._fails = False


_GONE = "The loudspeaker is gone: plug it in again."
