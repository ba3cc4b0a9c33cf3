"""Phrases and a model -> Vosk's decoder for them. No other module in the theatre imports Vosk.

A model is always a folder. Given a name, Vosk would look for the model on the network.
"""

from __future__ import annotations

import hashlib
import json
import math
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import TYPE_CHECKING, Any

from voicecheck.core.inputs import UNKNOWN
from voicecheck.ears.forward import load_weights
from voicecheck.ears.graph import compile_graph
from voicecheck.ears.kaldi_files import export
from voicecheck.ears.lexicon import check, variants
from voicecheck.ears.tuning import N_BEST
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from voicecheck.ears.forward import Weights

_OURS = Path(__file__).parents[1] / "model"
_NETWORKS = ("hearing.npz", "second-look.npz")
_LIBRARIES = ("vosk", "kaldi-native-fbank", "numpy")
_SHIPPED = "The model that voicecheck ships"
_CANNOT_LOAD = "{} cannot be loaded: files are missing or broken; install it again."
_SILENT = -3  # Kaldi's log levels: warning -1, error -2; errors reach us as exceptions


class ModelError(ValueError):
    """A model that cannot be used; its text is the sentence to show."""


class Decoder:
    """A model with its phrases; it can begin to hear any number of times."""

    def __init__(self, model: Any, phrases: Collection[str], *, name: str, is_ours: bool) -> None:
        self.name, self.is_ours, self.phrases = name, is_ours, frozenset(phrases)
        self._model = model

    def begin(self) -> Any:
        """Start Vosk on new sound. Let it go before its decoder, or Vosk crashes."""
        from vosk import KaldiRecognizer  # noqa: PLC0415 (loaded with the model, not before)

        if self.is_ours:
            begun = KaldiRecognizer(self._model, RATE_HZ)
            begun.SetMaxAlternatives(N_BEST)
        else:
            grammar = json.dumps([*sorted(self.phrases), UNKNOWN])
            begun = KaldiRecognizer(self._model, RATE_HZ, grammar)
        begun.SetWords(True)
        return begun

    def posterior(self, phrase: str, sound: bytes) -> float:
        """Decode all of a sound and return the phrase's posterior over the N-best list, 0 to 1."""
        begun = self.begin()
        begun.AcceptWaveform(sound)
        return NBest(begun.FinalResult()).posterior(phrase)

    def close(self) -> None:
        """Free the model's memory. Whatever it began must be gone."""
        self._model = None


class NBest:
    """Vosk's result for an utterance: the N-best list, or the one best of another model."""

    def __init__(self, result: str) -> None:
        """`result` is Vosk's JSON."""
        parsed = json.loads(result)
        self._ways: Sequence[Mapping[str, Any]] = parsed.get("alternatives", [parsed])

    @property
    def text(self) -> str:
        """The best text; `UNKNOWN` if any word of it is unknown; "" if nothing was said."""
        return _text(self._ways[0]["text"])

    @property
    def span_s(self) -> tuple[float, float]:
        """When it began and ended, in seconds since Vosk began."""
        words = self._ways[0]["result"]
        return words[0]["start"], words[-1]["end"]

    @property
    def least_confidence(self) -> float:
        """The lowest confidence of its words, 0 to 1; only other models give one."""
        return float(min(word["conf"] for word in self._ways[0]["result"]))

    def posterior(self, text: str) -> float:
        """Return the text's share of the list's likelihood, 0 to 1; only our model gives one.

        Vosk calls the log-likelihood of an alternative its confidence.
        """
        best = max(way["confidence"] for way in self._ways)
        likelihoods = [math.exp(way["confidence"] - best) for way in self._ways]
        same = [_text(way["text"]) == text for way in self._ways]
        agreeing = (each for each, agrees in zip(likelihoods, same, strict=True) if agrees)
        return sum(agreeing) / sum(likelihoods)


def _text(words: str) -> str:
    return UNKNOWN if UNKNOWN in words.split() else words


def ours(
    phrases: Collection[str], words: Mapping[str, Sequence[str]]
) -> list[tuple[Decoder, Weights]]:
    """Load the shipped networks, each with its weights: the first, then that of the second pass.

    `words` teaches them to pronounce, see `Recogniser`. Raises ModelError, or what the lexicon
    raises.
    """
    files = [_OURS / name for name in _NETWORKS]
    networks = [_weights(file) for file in files]
    check(phrases, words)
    name = f"voicecheck model, {_told_apart(files, _LIBRARIES)}"
    loaded = []
    try:
        with TemporaryDirectory(prefix="voicecheck-") as place:
            folder = Path(place)
            compile_graph(phrases, lambda word: variants(word, words), folder)
            for weights in networks:
                export(weights, folder)
                model = _loaded(folder, _SHIPPED)  # from here on it needs no file
                loaded.append((Decoder(model, phrases, name=name, is_ours=True), weights))
    except OSError as error:
        raise ModelError(
            f"{_SHIPPED} needs 8 MB in {gettempdir()} while it loads, and cannot write there "
            f"({error.strerror}): make room, or name another folder in TMPDIR."
        ) from error
    return loaded


def other(folder: Path, phrases: Collection[str]) -> Decoder:
    """Load another Vosk model, which takes its phrases at run time; raises ModelError."""
    if not folder.is_dir():
        raise ModelError(f"There is no model folder {folder}: give the folder of a Vosk model.")
    model = _loaded(folder, f"The model in {folder}")
    _check_vocabulary(model, phrases, folder)
    files = (folder / "am" / "final.mdl", folder / "final.mdl")
    file = next(each for each in files if each.is_file())
    name = f"Vosk model {folder.name}, {_told_apart([file], _LIBRARIES[:1])}"
    return Decoder(model, phrases, name=name, is_ours=False)


def _told_apart(files: Iterable[Path], libraries: Iterable[str]) -> str:
    """The hash of a model, and the versions of the libraries that its results depend on."""
    content = b"".join(file.read_bytes() for file in files)
    versions = ", ".join(f"{library} {version(library)}" for library in libraries)
    return f"sha256 {hashlib.sha256(content).hexdigest()[:12]}; {versions}"


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
