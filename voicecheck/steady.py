"""A voice that never stops the case: when speech fails, prompts are shown, and that is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from voicecheck.announcer import AnnouncerError
from voicecheck.inputs import Trouble


class _Announcer(Protocol):
    voice: str

    def say(self, text: str) -> float: ...

    def stop(self) -> None: ...

    def close(self) -> None: ...


class Steady:
    """Speaks through an announcer while it works; tells each change once, by `news`."""

    def __init__(self, make: Callable[[], _Announcer]) -> None:
        """Make the announcer; if that fails it is made again at every later prompt."""
        self._make, self._announcer, self._news = make, None, None
        self._fails = False
        self._ready()

    _announcer: _Announcer | None
    _news: Trouble | None

    @property
    def voice(self) -> str:
        """Which voice speaks, for the log."""
        return self._announcer.voice if self._announcer else "none: prompts are only shown"

    def say(self, text: str) -> float:
        """Start to speak; seconds it will take, 0 where nothing can be said."""
        try:
            length_s = self._announcer.say(text) if self._ready() and self._announcer else 0.0
        except AnnouncerError as error:
            self._failed(error)
            return 0.0
        if self._fails and length_s:
            self._fails = False
            self._news = Trouble(part="voice", message="speech works again", over=True)
        return length_s

    def stop(self) -> None:
        """Fall silent at once."""
        if self._announcer:
            self._announcer.stop()

    def close(self) -> None:
        """Let the loudspeaker go."""
        if self._announcer:
            self._announcer.close()

    def news(self) -> Trouble | None:
        """What changed since the last call, once."""
        news, self._news = self._news, None
        return news

    def _ready(self) -> bool:
        if self._announcer is None:
            try:
                self._announcer = self._make()
            except AnnouncerError as error:
                self._failed(error)
        return self._announcer is not None

    def _failed(self, error: AnnouncerError) -> None:
        if not self._fails:
            self._news = Trouble(part="voice", message=str(error))
        self._fails = True
