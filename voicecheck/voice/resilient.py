"""A voice that never stops the case: a failure is reported once, and it is made again."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from typing import Protocol

from voicecheck.core.inputs import Trouble
from voicecheck.voice.announcer import AnnouncerError

RETRY_S = 0.5
"""Between two attempts to make a voice that is gone."""


class _Announcer(Protocol):
    voice: str

    @property
    def works(self) -> bool: ...

    def prepare(self, texts: Iterable[str]) -> None: ...

    def say(self, text: str) -> float: ...

    def stop(self) -> None: ...

    def close(self) -> None: ...


class ResilientVoice:
    """Speaks through an announcer while it works; tells each change once, by `news`."""

    def __init__(self, make: Callable[[], _Announcer]) -> None:
        """Make the announcer; once it is gone it is made again, aside, until that works."""
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
        """Start to speak; seconds it will take, 0 where nothing can be said."""
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

    def stop(self) -> None:
        """Fall silent at once."""
        if (announcer := self._announcer) is not None:
            try:
                announcer.stop()
            except AnnouncerError as error:
                self._failed(str(error))

    def close(self) -> None:
        """Let the loudspeaker go; a stopped sound server may hang that, so nobody waits for it."""
        if (announcer := self._announcer) is not None:
            _aside(announcer.close).join(1)

    def news(self) -> Trouble | None:
        """What changed since the last call, once. Ask often: it also looks after the voice."""
        self._look_after()
        news, self._news = self._news, None
        return news

    def _look_after(self) -> None:
        if self._mending is not None:
            self._end_mending(self._mending)
        elif self._announcer is None or not self._announcer.works:
            self._failed(_GONE)
            if time.monotonic() >= self._retry_s:
                self._mending = _aside(self._make_anew)

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
            return  # it is told already

    def _failed(self, message: str) -> None:
        if not self._fails:
            self._news = Trouble(part="voice", message=message)
        self._fails = True

    def _mended(self) -> None:
        if self._fails:
            self._news = Trouble(part="voice", message="Speech works again.", over=True)
        self._fails = False


_GONE = "The loudspeaker is gone: plug it in again."


def _aside(work: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread
