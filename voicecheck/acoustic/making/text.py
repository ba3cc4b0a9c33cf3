"""Sentences to train on: general English, invented statements of the trade, orders and chatter.

Nothing here is taken from an evaluation set. General English is WordNet 3.0's glosses and examples
(its own permissive licence); word strings are weighted by wordfreq's counts (CC BY-SA 4.0, used as
weights only). Imagined surgeons' sentences are shipped with the procedure. Everything else is
recombined at random from the lists in words.toml.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from random import Random

    Source = Callable[[Random], str]

WORDS: Mapping[str, Any] = tomllib.loads((Path(__file__).parent / "words.toml").read_text("utf-8"))
"""Lists of words and phrases, by kind."""

WORDNET_FILES = ("data.noun", "data.verb", "data.adj", "data.adv")
SPEAKABLE = re.compile(r"[a-z][a-z' ,-]*")


def wordnet_sentences(folder: Path) -> tuple[list[str], list[str]]:
    """Read the glosses and the quoted example sentences of a WordNet 3.0 `data.*` folder."""
    glosses: list[str] = []
    examples: list[str] = []
    for name in WORDNET_FILES:
        for line in (folder / name).read_text("ascii", "replace").splitlines():
            gloss = line.partition(" | ")[2].lower()
            examples += re.findall(r'"([^"]+)"', gloss)
            glosses += re.sub(r'"[^"]*"|\([^)]*\)', "", gloss).split(";")
    return _speakable(glosses), _speakable(examples)


def _speakable(texts: Sequence[str]) -> list[str]:
    tidy = (" ".join(text.split()).strip(" ,-") for text in texts)
    return [text for text in tidy if 2 <= len(text.split()) <= 16 and SPEAKABLE.fullmatch(text)]


def one_of(sentences: Sequence[str]) -> Source:
    """A source that draws whole sentences."""
    return lambda rng: rng.choice(sentences)


def word_string(words: Sequence[str], weights: Sequence[float]) -> Source:
    """A source of 2 to 10 words drawn one by one, without grammar for the network to lean on."""
    return lambda rng: " ".join(rng.choices(words, weights, k=rng.randint(2, 10)))


def invented_words(words: Sequence[str], weights: Sequence[float]) -> Source:
    """A source of 2 to 7 words, most of them invented: the ends of two words joined."""
    long = [word for word in words if len(word) > 3 and len(_cuts(word)) > 1]

    def draw(rng: Random) -> str:
        said = (
            _crossed(long, rng) if rng.random() < 0.6 else rng.choices(words, weights)[0]
            for _ in range(rng.randint(2, 7))
        )
        return " ".join(said)

    return draw


def _crossed(words: Sequence[str], rng: Random) -> str:
    one, other = rng.choice(words), rng.choice(words)
    return one[: rng.choice(_cuts(one)[:-1])] + other[rng.choice(_cuts(other)[:-1]) :]


def _cuts(word: str) -> list[int]:
    """Where the vowels of a word end."""
    return [vowels.end() for vowels in re.finditer("[aeiouy]+", word)]


def evenly(words: Sequence[str]) -> Source:
    """A source of 2 to 7 words drawn one by one, each as likely as any other."""
    return lambda rng: _perhaps_addressed(rng.choices(words, k=rng.randint(2, 7)), rng)


def words_of_the_trade(words: Sequence[str], weights: Sequence[float]) -> Source:
    """A source of 2 to 7 words drawn one by one, half of them from the trade."""
    kinds = ("structures", "states", "deeds", "replies")
    trade = sorted({word for kind in kinds for said in WORDS[kind] for word in said.split()})

    def draw(rng: Random) -> str:
        lists = rng.choices((trade, WORDS["small"], None), (2, 1, 1), k=rng.randint(2, 7))
        said = [
            rng.choice(listed) if listed else rng.choices(words, weights)[0] for listed in lists
        ]
        return _perhaps_addressed(said, rng)

    return draw


def _perhaps_addressed(words: Sequence[str], rng: Random) -> str:
    said = list(words)
    if rng.random() < 0.35:
        said.insert(0 if rng.random() < 0.8 else rng.randint(0, len(said)), WORDS["address"])
    return " ".join(said)


def spontaneous(sentences: Sequence[str]) -> Source:
    """A source of what surgeons were imagined to say, as people say it.

    With hesitations and courtesies, said twice, begun twice, or two in one breath.
    """

    def draw(rng: Random) -> str:
        said, kind = rng.choice(sentences), rng.random()
        if kind < 0.05:
            said = f"{said} {rng.choice(sentences)}"
        elif kind < 0.09:
            said = f"{said} {said}"
        elif kind < 0.13:
            words = said.split()
            said = " ".join((*words[: rng.randint(1, len(words))], *words))
        if rng.random() < 0.7:
            between = rng.choice((" ", " ", " ", " ", ", ", " um ", " uh "))
            said = f"{WORDS['address']}{between}{said}"
        before = f"{_a(rng, 'openings')} " if rng.random() < 0.15 else ""
        behind = f" {_a(rng, 'courtesies')}" if rng.random() < 0.08 else ""
        return f"{before}{said}{behind}"

    return draw


def statement(rng: Random) -> str:
    """A statement as a surgeon might make one, mostly with the address word."""
    kind = rng.random()
    if kind < 0.45:
        the = "the " if rng.random() < 0.2 else ""
        said = f"{the}{_a(rng, 'structures')}{_a(rng, 'joins') or ' '}{_a(rng, 'states')}"
    elif kind < 0.6:
        said = f"{_a(rng, 'structures')} {_a(rng, 'states')} and {_a(rng, 'states')}"
    elif kind < 0.8:
        said = _a(rng, "deeds")
    elif kind < 0.92:
        kinds = ("structures", "states", "deeds", "replies")
        said = " ".join(_a(rng, rng.choice(kinds)) for _ in range(rng.randint(1, 4)))
    else:
        said = f"{_a(rng, 'replies')} {_a(rng, 'structures')} {_a(rng, 'states')}"
    return _addressed(said, rng)


def _a(rng: Random, kind: str) -> str:
    return str(rng.choice(WORDS[kind]))


def _addressed(said: str, rng: Random) -> str:
    drawn = rng.random()
    if drawn < 0.6:
        return f"{WORDS['address']}{rng.choice((' ', ' ', ', '))}{said}"
    return f"{said} {WORDS['address']}" if drawn < 0.64 else said


def reply(rng: Random) -> str:
    """One to three short replies, as they follow a read-back."""
    return ", ".join(_a(rng, "replies") for _ in range(rng.choice((1, 1, 2, 3))))


def order(rng: Random) -> str:
    """An order for everyday goods, as in a shop or at home: no command."""
    things = [f"{_a(rng, 'amounts')} {_a(rng, 'goods')}" for _ in range(rng.choice((1, 1, 2)))]
    return f"{_a(rng, 'asks')} {' and '.join(things)} {_a(rng, 'tails')}".strip()


def spelled(rng: Random) -> str:
    """Two to six digits, letters or radiotelephony words."""
    kinds = rng.choice((("digits",), ("letters",), ("alphabet",), ("digits", "alphabet")))
    return " ".join(_a(rng, rng.choice(kinds)).upper() for _ in range(rng.randint(2, 6)))


def chatter(sentences: Sequence[str]) -> Source:
    """A source of talk that is no command, though it may contain words of the trade."""

    def draw(rng: Random) -> str:
        middle = rng.choice(sentences) if rng.random() < 0.6 else _a(rng, "structures")
        said = f"{_a(rng, 'fillers')} {middle}"
        if rng.random() < 0.4:
            said += f", {_a(rng, 'fillers')} {_a(rng, 'states')}"
        return said

    return draw


def phrase_near(phrases: Sequence[str]) -> Source:
    """A source of a procedure's phrases; a third are near misses, a word dropped or swapped."""

    def draw(rng: Random) -> str:
        words = rng.choice(phrases).split()
        if rng.random() < 0.33 and len(words) > 2:
            place = rng.randrange(len(words))
            words[place : place + 1] = rng.choice(([], [rng.choice(rng.choice(phrases).split())]))
        return " ".join(words)

    return draw
