"""Phrases and a model -> Vosk's decoder for them. No other module in the theatre imports Vosk.

A model is always a folder. Given a name, Vosk would look for the model on the network.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import TYPE_CHECKING, Any

from voicecheck.core.inputs import UNKNOWN
from voicecheck.ears.forward import load_weights
from voicecheck.ears.graph import compile_graph
from voicecheck.ears.kaldi_files import export
from voicecheck.ears.lexicon import check, variants
from voicecheck.ears.tuning import N_BEST, STRAY
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence

    from voicecheck.ears.forward import Weights
    from voicecheck.ears.wordings import Wordings

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

    def __init__(
        self,
        model: Any,
        phrases: Collection[str],
        *,
        name: str,
        is_ours: bool,
        wordings: Wordings | None = None,
    ) -> None:
        self.name, self.is_ours, self.phrases = name, is_ours, frozenset(phrases)
        self._model, self._wordings = model, wordings

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

    def decode(self, sound: bytes) -> NBest:
        """Decode all of a sound, 16 kHz and 16 bits."""
        begun = self.begin()
        begun.AcceptWaveform(sound)
        return self.result(begun.FinalResult())

    def result(self, given: str) -> NBest:
        """Read Vosk's JSON."""
        return NBest(given, self._wordings)

    def is_phrase(self, text: str) -> bool:
        """Whether it is a listed phrase."""
        return text in self.phrases

    def means_something(self, text: str) -> bool:
        """Whether the last statement in it means something."""
        if text in self.phrases:
            return True
        if not self._wordings:
            return False
        *_, (last, _, _) = self._wordings.statements(text.split()) or [("", 0, 0)]
        return last.startswith(self._wordings.address) and self._wordings.meaning(last) is not None

    def close(self) -> None:
        """Free the model's memory. Whatever it began must be gone."""
        self._model = None


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing that was said in an utterance."""

    text: str
    from_s: float
    to_s: float
    """In seconds since Vosk began."""
    address_to_s: float = 0.0
    """When the address word before it ended; 0 if there is none."""
    spoken: str = ""
    """The words in this time: of the second of two statements not the address word."""
    sentence_from_s: float = 0.0
    """When the sentence began that it is in."""


class NBest:
    """Vosk's result for an utterance: the N-best list, or the one best of another model."""

    def __init__(self, result: str, wordings: Wordings | None = None) -> None:
        """`result` is Vosk's JSON."""
        parsed = json.loads(result)
        self._wordings = wordings
        ways: list[dict[str, Any]] = parsed.get("alternatives", [parsed])
        if wordings and "confidence" in ways[0]:
            for way in ways:
                way["confidence"] -= STRAY * wordings.beside(way["text"].split())
            ways.sort(key=lambda way: -way["confidence"])
        self._ways = ways

    def statements(self) -> list[Statement]:
        """Return what was said by the best alternative; nothing if nothing was said."""
        timed = self._ways[0].get("result", [])
        address = self._wordings.address if self._wordings else None
        found = []
        for text, begin, end in self._said(self._ways[0]["text"]):
            if not text:
                continue
            starts = [n for n in range(begin + 1) if timed[n]["word"] == address]
            is_first = begin in starts
            found.append(
                Statement(
                    text,
                    timed[begin]["start"],
                    timed[end - 1]["end"],
                    timed[begin]["end"] if is_first else 0.0,
                    text if is_first else text.removeprefix(f"{address} "),
                    timed[max(starts, default=begin)]["start"],
                )
            )
        return found

    @property
    def least_confidence(self) -> float:
        """The lowest confidence of its words, 0 to 1; only other models give one."""
        return float(min(word["conf"] for word in self._ways[0]["result"]))

    def posterior(self, text: str) -> float:
        """Return the share of the list's likelihood that means the same, 0 to 1.

        For the address word alone: the share that has it. Only our model gives one. Vosk calls the
        log-likelihood of an alternative its confidence.
        """
        if self._wordings and text == self._wordings.address:
            return self._share(lambda words: text in words.split())
        meant = self._meaning(text)
        return self._share(
            lambda words: any(self._meaning(each) == meant for each, _, _ in self._said(words))
        )

    def _share(self, agrees: Callable[[str], bool]) -> float:
        best = max(way["confidence"] for way in self._ways)
        likelihoods = [math.exp(way["confidence"] - best) for way in self._ways]
        agreeing = sum(
            likelihood
            for likelihood, way in zip(likelihoods, self._ways, strict=True)
            if agrees(way["text"])
        )
        return agreeing / sum(likelihoods)

    def _said(self, text: str) -> list[tuple[str, int, int]]:
        words = text.split()
        if self._wordings:
            return list(self._wordings.statements(words))
        return [(UNKNOWN if UNKNOWN in words else text, 0, len(words))]

    def _meaning(self, text: str) -> Hashable:
        found = self._wordings.meaning(text) if self._wordings else None
        return text if found is None else found


def ours(
    phrases: Collection[str],
    words: Mapping[str, Sequence[str]],
    wordings: Wordings | None = None,
) -> list[tuple[Decoder, Weights]]:
    """Load the shipped networks, each with its weights: the first, then that of the second pass.

    `words` teaches them to pronounce, see `Recogniser`. Raises ModelError, or what the lexicon
    raises.
    """
    files = [_OURS / name for name in _NETWORKS]
    networks = [_weights(file) for file in files]
    check([*phrases, *(wordings.vocabulary.words if wordings else ())], words)
    name = f"voicecheck model, {_told_apart(files, _LIBRARIES)}"
    loaded = []
    try:
        with TemporaryDirectory(prefix="voicecheck-") as place:
            folder = Path(place)
            compile_graph(phrases, lambda word: variants(word, words), folder, None, wordings)
            for weights in networks:
                export(weights, folder)
                model = _loaded(folder, _SHIPPED)  # from here on it needs no file
                decoder = Decoder(model, phrases, name=name, is_ours=True, wordings=wordings)
                loaded.append((decoder, weights))
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
