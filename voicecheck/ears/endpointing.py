"""Unbroken sound -> utterances, each ended as early as it can be (endpointing)."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np

from voicecheck.ears.kaldi_files import decoded_until_s
from voicecheck.ears.tuning import (
    CONTEXT_S,
    LONG_QUIET_S,
    LONGEST_UTTERANCE_S,
    OTHER_QUIET_S,
    QUIET_S,
)
from voicecheck.sound.pcm import BYTES_A_SECOND, RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from voicecheck.ears.decoder import Decoder, NBest

_LONGEST_BYTES = BYTES_A_SECOND * LONGEST_UTTERANCE_S
_MOST_GIVEN_BYTES = BYTES_A_SECOND * 540  # to one network; Vosk itself starts it anew after 600 s
_KEPT_BYTES = _LONGEST_BYTES + 2 * int(RATE_HZ * CONTEXT_S)


class Stretch:
    """Sound without a gap, as Vosk is given it; all times count from its first sample."""

    def __init__(self, decoder: Decoder) -> None:
        self._decoder, self._vosk = decoder, decoder.begin()
        self._waiting = b""  # for a whole chunk
        self._given_bytes = 0  # to Vosk, since its network last started
        self._open_bytes = 0  # since the last utterance ended
        self._heard_bytes = 0
        self._sound = bytearray()  # the last of what was heard

    def hear(self, piece: bytes, quiet_s: float) -> NBest | None:
        """Listen to a piece; return the utterance that ended with it, if any.

        `quiet_s` is how long it has been quiet at the end of the piece.
        """
        self._waiting += piece
        ended = self._is_due() and self._give()
        self._sound += piece
        del self._sound[:-_KEPT_BYTES]
        self._heard_bytes += len(piece)
        self._open_bytes += len(piece)
        if ended or self._fell_quiet(quiet_s) or self._open_bytes >= _LONGEST_BYTES:
            self._open_bytes = 0
            return self._result()
        return None

    def finish(self) -> NBest:
        """End the sound and return the utterance that was still open, perhaps an empty one."""
        self._give()
        return self._decoder.result(self._vosk.FinalResult())

    def sound(self, from_s: float, to_s: float) -> tuple[NDArray[np.int16], int, int]:
        """Return the sound kept, and at which of its samples these times lie."""
        samples = np.frombuffer(bytes(self._sound), "<i2")  # a copy: a view would forbid its growth
        start = self._heard_bytes // 2 - len(samples)
        return samples, round(from_s * RATE_HZ) - start, round(to_s * RATE_HZ) - start

    def _is_due(self) -> bool:
        """Whether Vosk would decode more if it got what waits; our network works in chunks.

        Vosk looks for an endpoint at every call. Calls in vain cost an eighth of all the time.
        """
        if not self._decoder.is_ours:
            return True
        with_more = self._given_bytes + len(self._waiting)
        before, then = (decoded_until_s(b / BYTES_A_SECOND) for b in (self._given_bytes, with_more))
        return then > before

    def _give(self) -> bool:
        """Give Vosk what waits; return whether it found an endpoint."""
        waiting, self._waiting = self._waiting, b""
        self._given_bytes += len(waiting)
        return bool(self._vosk.AcceptWaveform(waiting))

    def _fell_quiet(self, quiet_s: float) -> bool:
        """Whether quiet follows a whole phrase, or longer quiet other words that mean something.

        No phrase begins another of another meaning, so it will not go on.
        """
        if not QUIET_S <= quiet_s <= LONG_QUIET_S:
            return False
        return self._is_whole() or (quiet_s >= OTHER_QUIET_S and self._means_something())

    def _is_whole(self) -> bool:
        return self._decoder.is_phrase(self._partial())

    def _means_something(self) -> bool:
        return self._decoder.means_something(self._partial())

    def _partial(self) -> str:
        return str(json.loads(self._vosk.PartialResult()).get("partial", ""))

    def _result(self) -> NBest:
        """Ask Vosk what was said, to the last sample.

        The network looks ahead, so at an endpoint more was heard than decoded. `FinalResult`
        decodes the rest too: if the phrase goes on there, it is no phrase. It also starts the
        network anew. If we never did, Vosk would do it by itself without telling.
        """
        if self._waiting:
            self._give()
        if self._is_whole() or self._given_bytes >= _MOST_GIVEN_BYTES:
            self._given_bytes = 0
            return self._decoder.result(self._vosk.FinalResult())
        return self._decoder.result(self._vosk.Result())
