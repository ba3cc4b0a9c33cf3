"""Ears that never stop a case: a failure is reported once, and a fresh recogniser goes on."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from typing import Protocol

from voicecheck.core.inputs import Heard, Trouble
from voicecheck.core.legible import legible
from voicecheck.sound.pcm import RATE_HZ

MOST_FAILURES = 3
"""After this many failures within `REST_S`, the ears rest for `REST_S`."""

REST_S = 60.0
"""Seconds of sound."""


class _Ears(Protocol):
    def hear(self, block: bytes) -> Sequence[Heard]: ...

    def skip(self, block: bytes) -> None: ...

    def begin_anew(self) -> None: ...

    def finish(self) -> Sequence[Heard]: ...


class ResilientEars:
    """Hears through a recogniser that may raise anything, and reports what it raised.

    Time is counted in the sound itself, as in the recogniser.
    """

    def __init__(self, ears: _Ears) -> None:
        self._ears = ears
        self._passed_s = self._rested_s = 0.0
        self._failed_s: list[float] = []
        self._told = ""

    def hear(self, block: bytes) -> Sequence[Heard | Trouble]:
        """Listen to a block; return the utterances that ended in it and what fails or recovered."""
        if self._passed_s < self._rested_s:
            self.skip(block)
            return []
        try:
            heard = self._ears.hear(block)
        except Exception as error:  # noqa: BLE001  # Vosk raises nothing narrower
            self.skip(block)
            return self._failed(f"{type(error).__name__}: {error}")
        self._passed_s += _seconds(block)
        return [*self._mended(), *heard]

    def skip(self, block: bytes) -> None:
        """Let a block pass unheard; a fresh recogniser hears the next one."""
        self._passed_s += _seconds(block)
        with suppress(Exception):  # a failure is reported at the next `hear`
            self._ears.skip(block)

    def begin_anew(self) -> None:
        """Begin a new utterance here; one that is open is heard to its end beside it."""
        with suppress(Exception):  # a failure is reported at the next `hear`
            self._ears.begin_anew()

    def finish(self) -> Sequence[Heard | Trouble]:
        """End the audio; return what was still open, if anything."""
        try:
            return self._ears.finish()
        except Exception as error:  # noqa: BLE001
            return self._failed(f"{type(error).__name__}: {error}")

    def _failed(self, cause: str) -> list[Trouble]:
        recent = [at_s for at_s in self._failed_s if at_s > self._passed_s - REST_S]
        self._failed_s = [*recent, self._passed_s]
        message = _FRESH
        if len(self._failed_s) >= MOST_FAILURES:
            self._failed_s, self._rested_s = [], self._passed_s + REST_S
            message = _RESTS
        if self._told in (message, _RESTS):
            return []
        self._told = message
        return [Trouble(part="recogniser", message=message.format(legible(cause)))]

    def _mended(self) -> list[Trouble]:
        known, self._told = self._told, ""
        return [Trouble(part="recogniser", message="It hears again.", over=True)] if known else []


_FRESH = "The recogniser failed ({}): say the last words again, a fresh one listens."
_RESTS = "The recogniser fails again and again ({}): go on by hand, it is tried again in a minute."


def _seconds(block: bytes) -> float:
    return len(block) / (2 * RATE_HZ)
