"""Make an evaluation set: commands in every voice, and speech that is no command.

    python -m voicecheck.acoustic.trials --out DIR --voices heldout|dev|unlike --wordnet FOLDER \
        [--seed N] [--styles FOLDER]

Writes FLAC files and three manifests for evaluate.py. commands.csv has every phrase of the
procedure in every voice. general.csv has general speech (WordNet's glosses and examples), near.csv
talk of the trade and near misses; in both, each text is spoken by one voice. The same seed gives
the same texts and, except from piper, the same sound. Resumable: a file that exists is not made
again.
"""

from __future__ import annotations

import argparse
import csv
import zlib
from functools import partial
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from voicecheck import shipped
from voicecheck.acoustic.grammar_file import phrases
from voicecheck.acoustic.making.corpus import trimmed
from voicecheck.acoustic.making.talkers import development, held_out, unlike
from voicecheck.acoustic.making.text import WORDS, wordnet_sentences
from voicecheck.ears.topology import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
    from typing import TypeAlias

    from voicecheck.acoustic.making.talkers import Sound, Talker

    Said: TypeAlias = tuple[str, str]
    """The kind of trial and the text."""

ADDRESS = str(WORDS["address"])
QUIET_S = 0.3  # before the speech, because the microphone has always heard the room first
PEAK = 0.5

# Talk not addressed to the checklist, though it may name it; {} is a phrase without its address.
TALK = (
    "i think the {} part comes later",
    "before we say {} let me look again",
    "he always says {} far too early",
    "did anybody hear {} just now",
    "the checklist will ask about {} in a moment",
    "on the checklist there is still {} to be done",
    "we talked about {} at the meeting yesterday",
    "tell me when it is {} and not before",
    "in the book it says {} on the second page",
    "last week we had {} twice in one morning",
)
NEAR_MISSES = ("a word changed", "another order", "without address", "cut off", "gone on")
GONE_ON = (
    "yet",
    "if you ask me",
    "or is it",
    "and what else",
    "in a minute",
    "when i tell you",
    "as i said before",
    "is not what i mean",
)


def near_misses(commands: Sequence[str], rng: Random) -> Iterator[Said]:
    """Yield each phrase of enough words spoken wrongly in five ways; none of them is a phrase."""
    vocabulary = sorted({word for phrase in commands for word in phrase.split()} - {ADDRESS})
    for phrase in commands:
        words = phrase.split()
        first = int(words[0] == ADDRESS)
        if len(words) - first < 2:
            continue
        # A draw may give the phrase itself or another phrase; then draw again.
        for way in NEAR_MISSES:
            drawn = (" ".join(_missed(way, words, first, vocabulary, rng)) for _ in range(100))
            text = next((each for each in drawn if each not in commands), None)
            if text is not None:
                yield way, text


def _missed(
    way: str, words: Sequence[str], first: int, vocabulary: Sequence[str], rng: Random
) -> Sequence[str]:
    """The words of a phrase spoken wrongly; `first` is the first word after the address."""
    match way:
        case "a word changed":
            at = rng.randrange(first, len(words))
            return [*words[:at], rng.choice(vocabulary), *words[at + 1 :]]
        case "another order":
            return [*words[:first], *rng.sample(words[first:], len(words) - first)]
        case "without address":
            return words[first:]
        case "cut off":
            return words[:-1]
    return [*words, *rng.choice(GONE_ON).split()]


def talk(commands: Sequence[str], count: int, rng: Random) -> Iterator[Said]:
    """Yield talk of the trade with a phrase's words in it."""
    for number in range(count):
        words = rng.choice(commands).removeprefix(f"{ADDRESS} ")
        yield "talk of the trade", TALK[number % len(TALK)].format(words)


def general(sentences: Collection[str], count: int, rng: Random) -> Iterator[Said]:
    """Yield general speech, one or two sentences at a time."""
    ordered = sorted(sentences)
    for _ in range(count):
        yield "general speech", ". ".join(rng.sample(ordered, rng.choice((1, 1, 2))))


def make(
    out: Path, name: str, said: Iterable[tuple[str, Said]], talkers: Mapping[str, Talker]
) -> None:
    """Speak each (voice, (kind, text)); write the files and their manifest."""
    (out / name).mkdir(parents=True, exist_ok=True)
    rows = []
    for voice, (kind, text) in said:
        path = f"{name}/{zlib.crc32(f'{voice}: {text}'.encode()):08x}.flac"
        if not (out / path).exists():
            pace = Random(f"{voice}/{text}").uniform(0.9, 1.1)  # noqa: S311
            soundfile.write(out / path, finished(talkers[voice](text, pace)), SAMPLE_RATE_HZ)
        rows.append((path, text, voice, kind))
    with (out / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([("path", "text", "voice", "condition"), *rows])


def finished(sound: Sound) -> Sound:
    """Trim a sound, set its peak and put `QUIET_S` of silence before it."""
    cut = trimmed(np.asarray(sound, np.float32))
    quiet = np.zeros(int(QUIET_S * SAMPLE_RATE_HZ))
    return np.concatenate((quiet, cut * (PEAK / np.abs(cut).max())))


def main() -> None:
    """Read the command line and make the set."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    default = shipped.folder("grammars") / shipped.PROCEDURE
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--voices", choices=("heldout", "dev", "unlike"), required=True)
    parser.add_argument("--wordnet", type=Path, required=True, help="folder with data.noun …")
    parser.add_argument("--grammar", type=Path, default=default)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--general", type=int, default=500, help="texts of general speech")
    parser.add_argument("--talk", type=int, default=120, help="texts of talk of the trade")
    parser.add_argument("--styles", type=Path, help="Kokoro's *.bin styles, for the dev voices")
    options = parser.parse_args()
    families: Mapping[str, Callable[[], dict[str, Talker]]] = {
        "heldout": held_out,
        "dev": partial(development, options.styles),
        "unlike": unlike,
    }
    talkers = families[options.voices]()
    commands = sorted(phrases(options.grammar))
    glosses, examples = wordnet_sentences(options.wordnet)

    texts, voices = Random(options.seed), Random(options.seed)  # noqa: S311
    speech = general([*glosses, *examples], options.general, texts)
    near = (*talk(commands, options.talk, texts), *near_misses(commands, texts))
    said = {
        "commands": [(voice, ("command", text)) for voice in talkers for text in commands],
        "near": [(voices.choice([*talkers]), each) for each in near],
        "general": [(voices.choice([*talkers]), each) for each in speech],
    }
    for name, each in said.items():
        make(options.out, name, each, talkers)


if __name__ == "__main__":
    main()
