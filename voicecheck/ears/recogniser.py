"""Audio blocks -> utterances: what was said, when, and how surely."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicecheck.core.inputs import UNKNOWN, Heard
from voicecheck.ears.confidence import confidence
from voicecheck.ears.decoder import other, ours
from voicecheck.ears.endpointing import Stretch
from voicecheck.ears.lexicon import variants
from voicecheck.ears.pronunciation import Pronunciation
from voicecheck.ears.quiet import Quiet
from voicecheck.ears.second_pass import SecondPass
from voicecheck.ears.tuning import CERTAIN, PIECE_S, ROUGHLY_S, check
from voicecheck.sound.pcm import BYTES_A_SECOND, RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from pathlib import Path
    from types import TracebackType

    from voicecheck.core.procedure import Listening
    from voicecheck.ears.confidence import Evidence
    from voicecheck.ears.decoder import NBest, Statement
    from voicecheck.ears.wordings import Wordings

_PIECE_BYTES = round(BYTES_A_SECOND * PIECE_S)


@dataclass(frozen=True, slots=True)
class _Open:
    """A stretch that is being heard."""

    stretch: Stretch
    began_s: float


class Recogniser:
    """Hears a closed list of phrases in 16 kHz mono 16-bit audio, and that something else was said.

    Times count the audio given to `hear` and `skip`, in seconds from the start.
    """

    def __init__(
        self,
        phrases: Collection[str],
        *,
        model: Path | None = None,
        words: Mapping[str, Sequence[str]] | None = None,
        wordings: Wordings | None = None,
        listening: Listening | None = None,
        weigh: Callable[[Evidence], float] = confidence,
    ) -> None:
        """Load the shipped model, or another Vosk model that takes its phrases at run time.

        The other arguments are for the shipped model. `words` teaches it to pronounce: word ->
        pronunciations, each phones with spaces. `wordings` are heard beside the phrases.
        `listening` holds the operating points that its confidences will meet. `weigh` turns
        evidence into a confidence.

        Raises ModelError, UnknownWordError or WrongPhoneError (lexicon.py), ProcedureError
        (`tuning.check`), or ValueError if there is no phrase.
        """
        if not phrases:
            raise ValueError("There is nothing to listen for: give at least one phrase.")
        self._second_pass: SecondPass | None = None
        self._wordings = wordings if model is None else None
        if model is None:
            if listening:
                check(listening)
            (self._decoder, first), (second_decoder, second) = ours(phrases, words or {}, wordings)
            pronunciation = Pronunciation(
                lambda word: variants(word, words or {}), first, second, wordings=wordings
            )
            self._second_pass = SecondPass(
                pronunciation, second_decoder, weigh, wordings.address if wordings else ""
            )
        else:
            self._decoder = other(model, phrases)
        self._open: _Open | None = None
        self._before: list[_Open] = []  # each until it ends its utterance, beside the open one
        self._late: list[Heard] = []  # for the next call
        self._told_until_s = 0.0  # what was understood last ended here
        self._quiet = Quiet()
        self._rest = b""  # less than a piece
        self._passed_bytes = 0  # heard or skipped

    @property
    def name(self) -> str:
        """The model and the libraries that run it, for the log."""
        return self._decoder.name

    def hear(self, block: bytes) -> list[Heard]:
        """Listen to a block of any length and return the utterances that ended in it."""
        waiting = self._rest + block
        whole = len(waiting) - len(waiting) % _PIECE_BYTES
        self._rest = waiting[whole:]
        pieces = (waiting[at : at + _PIECE_BYTES] for at in range(0, whole, _PIECE_BYTES))
        late, self._late = self._late, []
        return late + [heard for piece in pieces for heard in self._accept(piece)]

    def skip(self, block: bytes) -> None:
        """Let a block pass unheard: time goes on, a half-heard utterance is dropped."""
        self._passed_bytes += len(self._rest) + len(block)
        self._rest = b""
        self._open, self._before = None, []

    def begin_anew(self) -> None:
        """Begin a new utterance with the next block; what is open is heard to its end beside it."""
        if self._open:
            self._before.append(self._open)
            self._open = None
        rest, self._rest = self._rest, b""
        if rest:
            self._late += self._hear_before(rest)
        self._passed_bytes += len(rest)

    def finish(self) -> list[Heard]:
        """End the audio and return what was still open, if anything."""
        rest, self._rest = self._rest[: len(self._rest) // 2 * 2], b""
        heard, self._late = self._late, []
        heard += self._accept(rest) if rest else []
        for before in self._before:
            heard += self._begun_before(before, before.stretch.finish())
        if self._open:
            heard += self._heard(self._open, self._open.stretch.finish())
        self._open, self._before = None, []
        return heard

    def close(self) -> None:
        """Free Vosk's memory: first what was begun, for Vosk crashes the other way round."""
        self._open, self._before = None, []
        self._decoder.close()
        if self._second_pass:
            self._second_pass.close()

    def __enter__(self) -> Recogniser:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _accept(self, piece: bytes) -> list[Heard]:
        if self._open is None:
            self._open = _Open(Stretch(self._decoder), self._passed_bytes / BYTES_A_SECOND)
        self._quiet.hear(piece)
        heard = self._hear_before(piece)
        if nbest := self._open.stretch.hear(piece, self._quiet.lasted_s):
            heard += self._heard(self._open, nbest)
        self._passed_bytes += len(piece)
        return heard

    def _hear_before(self, piece: bytes) -> list[Heard]:
        heard: list[Heard] = []
        for before in tuple(self._before):
            if nbest := before.stretch.hear(piece, self._quiet.lasted_s):
                heard += self._begun_before(before, nbest)
                self._before.remove(before)
        return heard

    def _begun_before(self, before: _Open, nbest: NBest) -> list[Heard]:
        """What began before the next stretch, which hears all that began later."""
        later = self._before[self._before.index(before) + 1 :]
        following = later[0] if later else self._open
        from_s = following.began_s if following else self._passed_bytes / BYTES_A_SECOND
        return self._heard(before, nbest, begun_before_s=from_s + ROUGHLY_S)

    def _heard(self, hearing: _Open, nbest: NBest, begun_before_s: float = math.inf) -> list[Heard]:
        """What was said, but for what was understood already: two stretches may hold the same."""
        heard, told_until_s = [], self._told_until_s
        for said in nbest.statements():
            if not told_until_s <= hearing.began_s + said.from_s < begun_before_s:
                continue
            if self._decoder.means_something(said.text):
                self._told_until_s = hearing.began_s + said.to_s
            confidence = self._confidence(hearing.stretch, nbest, said)
            addressed = self._addressed(hearing.stretch, nbest, said, confidence)
            heard.append(
                Heard(
                    text=said.text,
                    confidence=round(confidence, 3),
                    audio_from_s=round(hearing.began_s + said.from_s, 2),
                    audio_to_s=round(hearing.began_s + said.to_s, 2),
                    addressed=round(addressed, 3),
                )
            )
        return heard

    def _confidence(self, stretch: Stretch, nbest: NBest, said: Statement) -> float:
        """The confidence, 0 to 1, that this was said."""
        if not self._second_pass:
            return nbest.least_confidence
        posterior = nbest.posterior(said.text)
        if UNKNOWN in said.text.split() or not self._decoder.means_something(said.text):
            return posterior
        sound = stretch.sound(said.from_s, said.to_s)
        earlier = round((said.from_s - said.sentence_from_s) * RATE_HZ)
        return self._second_pass.confidence(
            said.text, posterior, *sound, spoken=said.spoken, earlier=earlier
        )

    def _addressed(
        self, stretch: Stretch, nbest: NBest, said: Statement, confidence: float
    ) -> float:
        """The confidence, 0 to 1, that the address word was said before it."""
        if not (self._second_pass and self._wordings and said.address_to_s):
            return 0.0
        if confidence >= CERTAIN:
            return confidence
        address = self._wordings.address
        sound = stretch.sound(said.from_s, said.address_to_s)
        return self._second_pass.confidence(address, nbest.posterior(address), *sound)
