"""Measure on recordings of people whose words a grammar covers, by the slots they fill.

    python -m voicecheck.acoustic.people FOLDER [--one-in N] [--noise pink:24 ...] [--seed N]

FOLDER holds manifest.csv (path, slots as JSON) and one JSGF grammar (Java Speech Grammar Format
1.0: alternatives, options, groups, and rules without recursion). A slot is a rule that names no
other rule. A recording is right if exactly its slots are filled, with the right words. pocketsphinx
hears the same sound with the same grammar in the same run. For evaluation only: such recordings
never train the model and choose nothing.
"""

from __future__ import annotations

import argparse
import csv
import json
import re
import zlib
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from voicecheck.acoustic.evaluate import BLOCK_SAMPLES, disturbed, samples
from voicecheck.acoustic.peer import PocketSphinx
from voicecheck.ears.forward import load_weights
from voicecheck.ears.graph import Builder, Node, numbered
from voicecheck.ears.kaldi_files import export
from voicecheck.ears.lexicon import variants
from voicecheck.ears.pronunciation import Pronunciation
from voicecheck.ears.topology import SAMPLE_RATE_HZ
from voicecheck.ears.tuning import N_BEST, Costs

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from typing import TypeAlias

    Slots: TypeAlias = Mapping[str, str]

MODEL = Path(__file__).parent.parent / "model"


@dataclass(frozen=True, slots=True)
class Word:
    """One word."""

    text: str


@dataclass(frozen=True, slots=True)
class Ways:
    """One of several sequences; with a name it is a slot."""

    of: tuple[tuple[Word | Ways, ...], ...]
    slot: str = ""


def parse_jsgf(text: str) -> Ways:
    """Read the public rule of a grammar and the rules that it names; raises ValueError."""
    body = text.partition(";")[2]  # after the header
    rules = dict(re.findall(r"<(\w+)>\s*=\s*(.*?);", body, re.DOTALL))
    public = re.findall(r"public\s+<(\w+)>", body)
    if len(public) != 1:
        raise ValueError(f"The grammar has {len(public)} public rules: it must have one.")
    return _Reader(rules).rule(public[0])


class _Reader:
    def __init__(self, rules: Mapping[str, str]) -> None:
        self._rules = rules

    def rule(self, name: str, within: tuple[str, ...] = ()) -> Ways:
        if name not in self._rules:
            raise ValueError(f"The grammar names a rule <{name}> that it has not.")
        if name in within:
            raise ValueError(f"The rule <{name}> names itself: that cannot be measured here.")
        text = self._rules[name]
        marks = re.findall(r"<\w+>|[()\[\]|]|[^\s()\[\]|<>]+", text)[::-1]
        found = self._ways(marks, (*within, name))
        if marks:
            raise ValueError(f"The rule <{name}> has a bracket too many.")
        return Ways(found.of, "" if "<" in text else name)

    def _ways(self, marks: list[str], within: tuple[str, ...]) -> Ways:
        ways: list[list[Word | Ways]] = [[]]
        while marks and marks[-1] not in ")]":
            mark = marks.pop()
            if mark == "|":
                ways.append([])
            elif mark in "([":
                inner = self._ways(marks, within)
                if not marks or marks.pop() != {"(": ")", "[": "]"}[mark]:
                    raise ValueError("The grammar leaves a bracket open.")
                ways[-1].append(inner if mark == "(" else Ways((*inner.of, ())))
            elif mark.startswith("<"):
                ways[-1].append(self.rule(mark[1:-1], within))
            else:
                ways[-1].append(Word(mark))
        return Ways(tuple(map(tuple, ways)))


def words_of(grammar: Word | Ways) -> set[str]:
    """Return all words of a grammar."""
    if isinstance(grammar, Word):
        return {grammar.text}
    return {word for way in grammar.of for part in way for word in words_of(part)}


class Meaning:
    """Tells which slots a text fills. Without recursion a grammar is a regular expression."""

    def __init__(self, grammar: Ways) -> None:
        self._slots: list[str] = []
        self._form = re.compile(self._pattern(grammar))

    def _pattern(self, part: Word | Ways) -> str:
        if isinstance(part, Word):
            return re.escape(part.text) + " "
        ways = "|".join("".join(map(self._pattern, way)) for way in part.of)
        if not part.slot:
            return f"(?:{ways})"
        self._slots.append(part.slot)
        return f"({ways})"

    def of(self, text: str) -> Slots:
        """Return slot -> words; empty for a text that the grammar does not cover."""
        found = self._form.fullmatch(text + " ")
        filled = zip(self._slots, found.groups() if found else (), strict=False)
        return {slot: words.strip() for slot, words in filled if words}


class Ours:
    """The shipped networks with a graph of the grammar; each recording is one utterance.

    The first network decodes and the second rescores the N-best list. In the theatre the second
    pass decides whether a phrase was said. Here texts differ in a word, so it decides which.
    """

    def __init__(self, grammar: Ways) -> None:
        """Compile the grammar, with the theatre's costs but without "[unk]", and load the model."""
        import vosk  # noqa: PLC0415 (it loads much else)

        vosk.SetLogLevel(-3)
        builder = Builder(numbered(words_of(grammar)), variants, Costs())
        start = builder.node()
        builder.rest(start)
        builder.end(_built(builder, grammar, start))
        self._second = Pronunciation(variants, load_weights(MODEL / "second-look.npz"))
        with TemporaryDirectory(prefix="voicecheck-") as name:
            folder = Path(name)
            builder.write(folder)
            export(load_weights(MODEL / "hearing.npz"), folder)
            with (folder / "conf" / "model.conf").open("a", encoding="utf-8") as conf:
                conf.writelines(
                    f"--endpoint.rule{rule}.min-trailing-silence=100\n" for rule in "1234"
                )
                conf.write("--endpoint.rule5.min-utterance-length=1000\n")
            self._model = vosk.Model(str(folder))

    def hears(self, pcm: bytes) -> str:
        """Return what it understands of a whole recording."""
        from vosk import KaldiRecognizer  # noqa: PLC0415

        recogniser = KaldiRecognizer(self._model, SAMPLE_RATE_HZ)
        recogniser.SetMaxAlternatives(N_BEST)
        for at in range(0, len(pcm), 2 * BLOCK_SAMPLES):
            recogniser.AcceptWaveform(pcm[at : at + 2 * BLOCK_SAMPLES])
        found = json.loads(recogniser.FinalResult())["alternatives"]
        texts, first = ([each[key] for each in found] for key in ("text", "confidence"))
        second = self._second.log_likelihoods(texts, np.frombuffer(pcm, "<i2"))
        return str(texts[int(np.argmax(np.add(first, second)))])


def _built(builder: Builder, part: Word | Ways, before: Node) -> Node:
    if isinstance(part, Word):
        return builder.word(before, part.text)
    ends = []
    for way in part.of:
        node = before
        for each in way:
            node = _built(builder, each, node)
        ends.append(node)
    joined = builder.node()
    joined.sources = [source for end in ends for source in end.sources]
    return joined


def recordings(folder: Path) -> Iterator[tuple[Path, Slots]]:
    """Yield each recording with the slots that it fills."""
    with (folder / "manifest.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            slots = {slot: words.strip() for slot, words in json.loads(row["slots"]).items()}
            yield folder / row["path"], slots


def in_noise(path: Path, noise: str, seed: int) -> bytes:
    """Return a recording in noise as 16-bit samples, the same for every listener."""
    rng = np.random.default_rng((seed, zlib.crc32(path.name.encode())))
    noisy = disturbed(samples(path), noise, rng, ())
    return bytes((np.clip(noisy, -1, 1) * 32767).astype("<i2").tobytes())


def main() -> None:
    """Read the command line and measure."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--one-in", type=int, default=1, help="measure one recording in so many")
    parser.add_argument("--noise", nargs="*", default=["none"], help="see evaluate.py; no babble")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    grammars = list(options.folder.glob("*.jsgf"))
    if len(grammars) != 1:
        parser.error(f"{options.folder} has {len(grammars)} files *.jsgf: it must have one")
    text = grammars[0].read_text(encoding="utf-8")
    grammar = parse_jsgf(text)
    meaning = Meaning(grammar)
    listed = list(recordings(options.folder))[:: options.one_in]
    for ears in (Ours(grammar), PocketSphinx(words_of(grammar), text)):
        for noise in options.noise:
            right = sum(
                meaning.of(ears.hears(in_noise(path, noise, options.seed))) == slots
                for path, slots in listed
            )
            told = f"{right} of {len(listed)} right, {right / max(1, len(listed)):.1%}"
            print(f"{type(ears).__name__}, {noise}: {told}", flush=True)


if __name__ == "__main__":
    main()
