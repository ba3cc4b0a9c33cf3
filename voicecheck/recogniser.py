"""Audio blocks -> utterances: the one place in the theatre that knows Vosk.

Vosk is loaded from a folder, always: never by a name, which it would look for on the network.
"""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import TYPE_CHECKING, Any

import numpy as np

from voicecheck.acoustic.export import export, heard_until_s
from voicecheck.acoustic.forward import load_weights
from voicecheck.acoustic.graph import UNKNOWN, compile_graph
from voicecheck.acoustic.lexicon import check, variants
from voicecheck.acoustic.likeness import CONTEXT_S, Evidence, Likeness, confidence
from voicecheck.inputs import Heard
from voicecheck.pcm import BYTES_A_SECOND, RATE_HZ
from voicecheck.quiet import Quiet

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
    from types import TracebackType

    from voicecheck.acoustic.forward import Weights

_OURS = Path(__file__).parent / "model"
_HEARING, _SECOND_LOOK = "hearing.npz", "second-look.npz"
_PIECE_BYTES = BYTES_A_SECOND * 2 // 100  # 20 ms: so often it is looked whether it fell quiet
_LONGEST_BYTES = BYTES_A_SECOND * 12  # no noise holds an utterance open for longer
_MOST_GIVEN_BYTES = BYTES_A_SECOND * 540  # to one network; Vosk itself begins anew after 600 s
_KEPT_BYTES = _LONGEST_BYTES + 2 * int(RATE_HZ * CONTEXT_S)
_ALTERNATIVES = 12
_QUIET_S = 0.2  # after a whole phrase; the closure of a stop within a word is shorter
_LONG_QUIET_S = 1.0  # by then the recogniser has found the end itself, or there was no phrase
_SHIPPED = "The model that voicecheck ships"
_CANNOT_LOAD = "{} cannot be loaded: files are missing or broken; install it again."
_SILENT = -3  # Kaldi's levels: warnings are -1, errors -2; ours come as exceptions


class ModelError(ValueError):
    """A model that cannot be used; its text is the sentence to show."""


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
        self._folder = model
        self._model: Any
        self._likeness: Likeness | None = None
        if model is None:
            hearing, other = (_own_weights(name) for name in (_HEARING, _SECOND_LOOK))
            self._model = _load_own(phrases, words or {}, hearing)
            self._likeness = Likeness(lambda word: variants(word, words or {}), hearing, other)
        else:
            self._model = _load(model)
            _check_vocabulary(self._model, self._phrases, model)
        self._sure = sure
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
        whose, files = "voicecheck model", [_OURS / _HEARING, _OURS / _SECOND_LOOK]
        if self._folder:
            whose = f"Vosk model {self._folder.name}"
            places = (self._folder / "am" / "final.mdl", self._folder / "final.mdl")
            files = [next(place for place in places if place.is_file())]
        content = b"".join(file.read_bytes() for file in files)
        return f"{whose}, sha256 {hashlib.sha256(content).hexdigest()[:12]}"

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
        self._model = None

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
            self._vosk = self._start()
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
        if not self._likeness:
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

    def _start(self) -> Any:
        from vosk import KaldiRecognizer  # noqa: PLC0415 (loaded with the model, not before)

        if self._likeness:
            recogniser = KaldiRecognizer(self._model, RATE_HZ)
            recogniser.SetMaxAlternatives(_ALTERNATIVES)
        else:
            grammar = json.dumps([*sorted(self._phrases), UNKNOWN])
            recogniser = KaldiRecognizer(self._model, RATE_HZ, grammar)
        recogniser.SetWords(True)
        return recogniser

    # What Vosk's answer means

    def _utterance(self, answer: str) -> list[Heard]:
        result = json.loads(answer)
        best = result.get("alternatives", [result])[0]
        text = self._text(best["text"])
        if not text:
            return []
        spoken = best["result"]
        began_s = self._began_bytes / BYTES_A_SECOND
        from_s, to_s = began_s + spoken[0]["start"], began_s + spoken[-1]["end"]
        sure = self._certainty(result, text, from_s, to_s) if self._likeness else _lowest(spoken)
        return [
            Heard(
                text=text,
                confidence=round(sure, 3),
                audio_from_s=round(from_s, 2),
                audio_to_s=round(to_s, 2),
            )
        ]

    def _text(self, words: str) -> str:
        """A phrase as it is; with anything unknown in it, unknown; else what was heard."""
        return UNKNOWN if UNKNOWN in words.split() else words

    def _certainty(self, result: Mapping[str, Any], text: str, from_s: float, to_s: float) -> float:
        """How sure it is that this was said between these times: 0 to 1."""
        share = self._share(result["alternatives"])
        if text not in self._phrases or not self._likeness:
            return share
        sound = np.frombuffer(bytes(self._sound), "<i2")  # a copy: a view would forbid its growth
        start = self._passed_bytes // 2 - len(sound)
        begin, end = (round(at * RATE_HZ) - start for at in (from_s, to_s))
        return self._sure(Evidence(share, self._likeness.fit(text, sound, begin, end)))

    def _share(self, alternatives: Sequence[Mapping[str, Any]]) -> float:
        """The share of the likelihood that says what the best alternative says."""
        best = alternatives[0]
        shares = [math.exp(each["confidence"] - best["confidence"]) for each in alternatives]
        same = [self._text(each["text"]) == self._text(best["text"]) for each in alternatives]
        return sum(s for s, agrees in zip(shares, same, strict=True) if agrees) / sum(shares)


def _lowest(spoken: Sequence[Mapping[str, Any]]) -> float:
    return float(min(word["conf"] for word in spoken))


def _load_own(
    phrases: Collection[str], words: Mapping[str, Sequence[str]], weights: Weights
) -> Any:
    check(phrases, words)
    try:
        with TemporaryDirectory(prefix="voicecheck-") as name:
            folder = Path(name)
            export(weights, folder)
            compile_graph(phrases, lambda word: variants(word, words), folder)
            return _loaded(folder, _SHIPPED)  # and then needs no file
    except OSError as error:
        raise ModelError(
            f"{_SHIPPED} needs 8 MB in {gettempdir()} while it loads, and cannot write there "
            f"({error.strerror}): make room, or name another folder in TMPDIR."
        ) from error


def _own_weights(name: str) -> Weights:
    try:
        return load_weights(_OURS / name)
    except ValueError as error:
        raise ModelError(_CANNOT_LOAD.format(_SHIPPED)) from error


def _load(folder: Path) -> Any:
    if not folder.is_dir():
        raise ModelError(f"There is no model folder {folder}: give the folder of a Vosk model.")
    return _loaded(folder, f"The model in {folder}")


def _loaded(folder: Path, what: str) -> Any:
    import vosk  # noqa: PLC0415 (it loads much else)

    vosk.SetLogLevel(_SILENT)
    try:
        return vosk.Model(str(folder))
    except Exception as error:  # Vosk raises nothing narrower
        raise ModelError(_CANNOT_LOAD.format(what)) from error


def _check_vocabulary(model: Any, phrases: Collection[str], folder: Path) -> None:
    if not any((folder / name).is_file() for name in ("graph/HCLr.fst", "HCLr.fst")):
        raise ModelError(
            f"The model in {folder} has a fixed graph and would ignore the phrases: "
            f"give a Vosk model with a dynamic graph (graph/HCLr.fst)."
        )
    words = sorted({word for phrase in phrases for word in phrase.split()} | {UNKNOWN})
    missing = [word for word in words if model.vosk_model_find_word(word) < 0]
    if missing:
        raise ModelError(
            f"The model in {folder} does not know {', '.join(missing)}: "
            f"change the phrases, or leave the model out to use the one that voicecheck ships."
        )
