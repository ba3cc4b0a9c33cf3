"""Audio blocks -> utterances: when one begins and ends, what was said in it, and how surely."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from voicecheck.core.inputs import Heard
from voicecheck.ears.decoder import Answer, other, ours
from voicecheck.ears.kaldi_files import heard_until_s
from voicecheck.ears.lexicon import variants
from voicecheck.ears.likeness import CONTEXT_S, Likeness, confidence
from voicecheck.ears.quiet import Quiet
from voicecheck.ears.second_look import SecondLook
from voicecheck.sound.pcm import BYTES_A_SECOND, RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
    from pathlib import Path
    from types import TracebackType

    from voicecheck.ears.likeness import Evidence

_PIECE_BYTES = BYTES_A_SECOND * 2 // 100  # 20 ms: so often it is looked whether it fell quiet
_LONGEST_BYTES = BYTES_A_SECOND * 12  # no noise holds an utterance open for longer
_MOST_GIVEN_BYTES = BYTES_A_SECOND * 540  # to one network; Vosk itself begins anew after 600 s
_KEPT_BYTES = _LONGEST_BYTES + 2 * int(RATE_HZ * CONTEXT_S)
_QUIET_S = 0.2  # after a whole phrase; the closure of a stop within a word is shorter
_LONG_QUIET_S = 1.0  # by then the recogniser has found the end itself, or there was no phrase


class Recogniser:
    """Hears a closed list of phrases in 16 kHz mono 16-bit audio, and that something else was said.

    The utterances' times count the audio given to `hear` and `skip`, in seconds from the start.
    """

    def __init__(
        self,
        phrases: Collection[str],
        *,
        model: Path | None = None,
        words: Mapping[str, Sequence[str]] | None = None,
        sure: Callable[[Evidence], float] = confidence,
    ) -> None:
        """Load the shipped model, or another Vosk model that takes its phrases at run time.

        `words` teaches the shipped model to pronounce: word -> pronunciations, each phones with
        spaces; `sure` makes a confidence of its evidence for a phrase. Raises ModelError, or what
        `lexicon.pronunciations` raises for an unknown word.
        """
        if not phrases:
            raise ValueError("There is nothing to listen for: give at least one phrase.")
        self._phrases = frozenset(phrases)
        self._second_look: SecondLook | None = None
        if model is None:
            (self._decoder, hearing), (second, weights) = ours(phrases, words or {})
            likeness = Likeness(lambda word: variants(word, words or {}), hearing, weights)
            self._second_look = SecondLook(likeness, second, sure)
        else:
            self._decoder = other(model, phrases)
        self._vosk: Any = None
        self._rest = b""  # half a sample or less than a piece
        self._waiting = b""  # for a chunk to be whole
        self._given_bytes = 0  # to Vosk, since its network last began
        self._sound = bytearray()  # the last that was heard, up to now
        self._quiet = Quiet()
        self._passed_bytes = 0  # heard or skipped
        self._began_bytes = 0  # when Vosk last began to count
        self._open_bytes = 0  # since the last utterance ended

    @property
    def name(self) -> str:
        """Which model listens, for the log."""
        return self._decoder.name

    def hear(self, block: bytes) -> list[Heard]:
        """Listen to a block of any length and return the utterances that ended in it."""
        waiting = self._rest + block
        whole = len(waiting) - len(waiting) % _PIECE_BYTES
        self._rest = waiting[whole:]
        pieces = (waiting[at : at + _PIECE_BYTES] for at in range(0, whole, _PIECE_BYTES))
        return [heard for piece in pieces for heard in self._accept(piece)]

    def skip(self, block: bytes) -> None:
        """Let a block pass unheard: time goes on, a half-heard utterance is dropped."""
        self._passed_bytes += len(self._rest) + len(block)
        self._rest = b""
        self._vosk = None

    def finish(self) -> list[Heard]:
        """End the audio and return the utterance that was still open, if any."""
        rest, self._rest = self._rest[: len(self._rest) // 2 * 2], b""
        heard = list(self._accept(rest)) if rest else []
        if self._vosk:
            self._give()
            heard += self._utterance(self._vosk.FinalResult())
        self._vosk = None
        return heard

    def close(self) -> None:
        """Free Vosk's memory: its recogniser first, for it crashes the other way round."""
        self._vosk = None
        self._decoder.close()
        if self._second_look:
            self._second_look.close()

    def __enter__(self) -> Recogniser:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _accept(self, piece: bytes) -> Iterator[Heard]:
        if self._vosk is None:
            self._vosk = self._decoder.begin()
            self._sound.clear()
            self._waiting, self._given_bytes = b"", 0
            self._began_bytes, self._open_bytes = self._passed_bytes, 0
        self._waiting += piece
        ended = self._is_due() and self._give()
        self._quiet.hear(piece)
        self._sound += piece
        del self._sound[:-_KEPT_BYTES]
        self._passed_bytes += len(piece)
        self._open_bytes += len(piece)
        if ended or self._fell_quiet() or self._open_bytes >= _LONGEST_BYTES:
            self._open_bytes = 0
            yield from self._utterance(self._answer())

    def _is_due(self) -> bool:
        """Whether Vosk would hear more than it did, which our network does a chunk at a time.

        To ask it in vain costs an eighth of all the time: it looks for an end each time.
        """
        if not self._decoder.is_ours:
            return True
        with_more = self._given_bytes + len(self._waiting)
        before, then = (heard_until_s(b / BYTES_A_SECOND) for b in (self._given_bytes, with_more))
        return then > before

    def _give(self) -> bool:
        """Give Vosk what waits; whether the utterance ended."""
        waiting, self._waiting = self._waiting, b""
        self._given_bytes += len(waiting)
        return bool(self._vosk.AcceptWaveform(waiting))

    def _fell_quiet(self) -> bool:
        """Whether a whole phrase was said, none begins another, and then the speaker stopped."""
        return _QUIET_S <= self._quiet.lasted_s <= _LONG_QUIET_S and self._is_whole()

    def _is_whole(self) -> bool:
        return json.loads(self._vosk.PartialResult()).get("partial") in self._phrases

    def _answer(self) -> str:
        """Ask what was said; a phrase must stand up to the last sample, not only the last frame.

        The network looks ahead, so that much more was heard than decoded when an utterance ends.
        `FinalResult` decodes that too, and a phrase that goes on is found to be none. Then the
        network begins anew; where it never did, Vosk would do so by itself, and not tell.
        """
        if self._waiting:
            self._give()
        if self._is_whole() or self._given_bytes >= _MOST_GIVEN_BYTES:
            self._given_bytes = 0
            return str(self._vosk.FinalResult())
        return str(self._vosk.Result())

    def _utterance(self, answer: str) -> list[Heard]:
        found = Answer(answer)
        if not found.text:
            return []
        began_s = self._began_bytes / BYTES_A_SECOND
        from_s, to_s = (began_s + at for at in found.span_s)
        return [
            Heard(
                text=found.text,
                confidence=round(self._certainty(found, from_s, to_s), 3),
                audio_from_s=round(from_s, 2),
                audio_to_s=round(to_s, 2),
            )
        ]

    def _certainty(self, found: Answer, from_s: float, to_s: float) -> float:
        """How sure it is that this was said between these times: 0 to 1."""
        if not self._second_look:
            return found.lowest
        share = found.share(found.text)
        if found.text not in self._phrases:
            return share
        sound = np.frombuffer(bytes(self._sound), "<i2")  # a copy: a view would forbid its growth
        start = self._passed_bytes // 2 - len(sound)
        begin, end = (round(at * RATE_HZ) - start for at in (from_s, to_s))
        return self._second_look.certainty(found.text, share, sound, begin, end)
