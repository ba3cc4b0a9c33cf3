"""Phrases and a model -> Vosk's decoder of them: the one place in the theatre that knows Vosk.

Vosk is loaded from a folder, always: never by a name, which it would look for on the network.
"""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import TYPE_CHECKING, Any

from voicecheck.core.inputs import UNKNOWN
from voicecheck.ears.forward import load_weights
from voicecheck.ears.graph import compile_graph
from voicecheck.ears.kaldi_files import export
from voicecheck.ears.lexicon import check, variants
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from voicecheck.ears.forward import Weights

_OURS = Path(__file__).parents[1] / "model"
_NETWORKS = ("hearing.npz", "second-look.npz")
_ALTERNATIVES = 12
_SHIPPED = "The model that voicecheck ships"
_CANNOT_LOAD = "{} cannot be loaded: files are missing or broken; install it again."
_SILENT = -3  # Kaldi's levels: warnings are -1, errors -2; ours come as exceptions


class ModelError(ValueError):
    """A model that cannot be used; its text is the sentence to show."""


class Decoder:
    """A model with the graph of its phrases; Vosk can begin to hear with it any number of times."""

    def __init__(self, model: Any, phrases: Collection[str], *, name: str, is_ours: bool) -> None:
        self.name, self.is_ours = name, is_ours
        self._model, self._phrases = model, phrases

    def begin(self) -> Any:
        """Start Vosk on new sound; it must be let go before its decoder, or it crashes."""
        from vosk import KaldiRecognizer  # noqa: PLC0415 (loaded with the model, not before)

        if self.is_ours:
            begun = KaldiRecognizer(self._model, RATE_HZ)
            begun.SetMaxAlternatives(_ALTERNATIVES)
        else:
            grammar = json.dumps([*sorted(self._phrases), UNKNOWN])
            begun = KaldiRecognizer(self._model, RATE_HZ, grammar)
        begun.SetWords(True)
        return begun

    def share(self, phrase: str, sound: bytes) -> float:
        """How much of the likelihood of all of a sound says the phrase, 0 to 1."""
        begun = self.begin()
        begun.AcceptWaveform(sound)
        return Answer(begun.FinalResult()).share(phrase)

    def close(self) -> None:
        """Free the model's memory: nothing that was begun may be left."""
        self._model = None


class Answer:
    """What Vosk made of an utterance."""

    def __init__(self, answer: str) -> None:
        result = json.loads(answer)
        self._ways: Sequence[Mapping[str, Any]] = result.get("alternatives", [result])

    @property
    def text(self) -> str:
        """What was most likely said: with anything unknown in it, unknown; perhaps nothing."""
        return _text(self._ways[0]["text"])

    @property
    def span_s(self) -> tuple[float, float]:
        """When it began and ended, since Vosk began."""
        words = self._ways[0]["result"]
        return words[0]["start"], words[-1]["end"]

    @property
    def lowest(self) -> float:
        """The confidence, 0 to 1, of the word that has the least; only other models tell it."""
        return float(min(word["conf"] for word in self._ways[0]["result"]))

    def share(self, text: str) -> float:
        """How much of the likelihood says this, 0 to 1; only our model tells it."""
        best = max(way["confidence"] for way in self._ways)
        shares = [math.exp(way["confidence"] - best) for way in self._ways]
        same = [_text(way["text"]) == text for way in self._ways]
        return sum(s for s, agrees in zip(shares, same, strict=True) if agrees) / sum(shares)


def _text(words: str) -> str:
    return UNKNOWN if UNKNOWN in words.split() else words


def ours(
    phrases: Collection[str], words: Mapping[str, Sequence[str]]
) -> list[tuple[Decoder, Weights]]:
    """Load the shipped networks, each with its weights: first the one that hears, then the other.

    `words` teaches them to pronounce, see `Recogniser`.
    """
    files = [_OURS / name for name in _NETWORKS]
    networks = [_weights(file) for file in files]
    check(phrases, words)
    name = f"voicecheck model, {_told_apart(files)}"
    loaded = []
    try:
        with TemporaryDirectory(prefix="voicecheck-") as place:
            folder = Path(place)
            compile_graph(phrases, lambda word: variants(word, words), folder)
            for weights in networks:
                export(weights, folder)
                model = _loaded(folder, _SHIPPED)  # and then it needs no file
                loaded.append((Decoder(model, phrases, name=name, is_ours=True), weights))
    except OSError as error:
        raise ModelError(
            f"{_SHIPPED} needs 8 MB in {gettempdir()} while it loads, and cannot write there "
            f"({error.strerror}): make room, or name another folder in TMPDIR."
        ) from error
    return loaded


def other(folder: Path, phrases: Collection[str]) -> Decoder:
    """Load another Vosk model, which takes its phrases at run time."""
    if not folder.is_dir():
        raise ModelError(f"There is no model folder {folder}: give the folder of a Vosk model.")
    model = _loaded(folder, f"The model in {folder}")
    _check_vocabulary(model, phrases, folder)
    files = (folder / "am" / "final.mdl", folder / "final.mdl")
    name = f"Vosk model {folder.name}, {_told_apart([next(f for f in files if f.is_file())])}"
    return Decoder(model, phrases, name=name, is_ours=False)


def _told_apart(files: Iterable[Path]) -> str:
    content = b"".join(file.read_bytes() for file in files)
    return f"sha256 {hashlib.sha256(content).hexdigest()[:12]}"


def _weights(file: Path) -> Weights:
    try:
        return load_weights(file)
    except ValueError as error:
        raise ModelError(_CANNOT_LOAD.format(_SHIPPED)) from error


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
