"""Words -> pronunciations: from CMUdict, our own trade words, and accent rules over both."""

from __future__ import annotations

import gzip
import re
from bisect import bisect_left
from functools import lru_cache
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from voicecheck.ears.topology import PHONES
from voicecheck.ears.tuning import MOST_PRONUNCIATIONS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

Phones: TypeAlias = tuple[str, ...]
"""One pronunciation, such as ("D", "AH", "K", "T")."""

_FOLDER = Path(__file__).parent.parent / "model" / "lexicon"
_WORD = re.compile(r"[a-z.'-]+")


class UnknownWordError(LookupError):
    """Words that no dictionary has; its text is the sentence to show."""

    def __init__(self, words: Sequence[str]) -> None:
        names = ", ".join(f'"{word}"' for word in words)
        super().__init__(
            f"Nobody told us how to say {names}: add a line for each to the [lexicon] table of the "
            f'procedure, with its phones, such as duct = ["D AH K T"].'
        )


class WrongPhoneError(ValueError):
    """A pronunciation without phones, or with an unknown one; its text is the sentence to show."""


def pronunciations(
    word: str, extra: Mapping[str, Sequence[str]] | None = None
) -> tuple[Phones, ...]:
    """Return every listed pronunciation of `word`, the usual one first, without stress.

    `extra` maps a word to pronunciations, each phones with spaces. It overrides the trade words,
    and they override CMUdict 1.1.3. Raises UnknownWordError for a word found nowhere and
    WrongPhoneError for an extra pronunciation with a phone that CMUdict does not have.
    """
    return _unique(_unstressed(spoken) for spoken in _stressed(word, extra))


def check(phrases: Iterable[str], extra: Mapping[str, Sequence[str]] | None = None) -> None:
    """Raise UnknownWordError with all words of the phrases that no dictionary has."""
    words = dict.fromkeys(word for phrase in phrases for word in phrase.split())
    unknown = [word for word in words if not (extra and word in extra) and not _listed(word)]
    if unknown:
        raise UnknownWordError(unknown)


def variants(word: str, extra: Mapping[str, Sequence[str]] | None = None) -> tuple[Phones, ...]:
    """Return the pronunciations of `word`, then British, American and quick ones made by rule.

    At most `MOST_PRONUNCIATIONS`. Raises as `pronunciations` does.
    """
    listed = _stressed(word, extra)
    accents = (accent(spoken) for accent in (_british, _american, _quick) for spoken in listed)
    return _unique(_unstressed(spoken) for spoken in chain(listed, accents))[:MOST_PRONUNCIATIONS]


def possessive(spoken: Phones) -> Phones:
    """Return how a word sounds with "'s": with S after what is voiceless, else with Z."""
    return (*spoken, "S" if spoken[-1] in ("P", "T", "K", "F", "TH") else "Z")


def edits(a: str, b: str, extra: Mapping[str, Sequence[str]] | None = None) -> int:
    """Return the edit distance in phones between the closest pronunciations of two phrases."""
    return _fewest_edits(_paths(a, extra), _paths(b, extra))


def distance(a: str, b: str, extra: Mapping[str, Sequence[str]] | None = None) -> float:
    """Return how far apart two phrases sound, 0 (alike) to 1.

    The edit distance, divided by the longest pronunciation of the longer phrase. So listing one
    more variant can only bring phrases closer.
    """
    one, other = _paths(a, extra), _paths(b, extra)
    return _fewest_edits(one, other) / max(_longest(one), _longest(other), 1)


# Dictionaries


def _stressed(word: str, extra: Mapping[str, Sequence[str]] | None) -> tuple[Phones, ...]:
    if extra and word in extra:
        return tuple(_checked(word, tuple(spoken.split())) for spoken in extra[word])
    found = _listed(word)
    if not found:
        raise UnknownWordError([word])
    return found


def _checked(word: str, spoken: Phones) -> Phones:
    strange = [phone for phone in _unstressed(spoken) if phone not in PHONES]
    if strange or not spoken:
        what = f'the phone "{strange[0]}", which is not one' if strange else "no phone"
        raise WrongPhoneError(
            f'The pronunciation of "{word}" in the [lexicon] table has {what}: '
            f"use the phones of CMUdict: {' '.join(PHONES)}."
        )
    return spoken


@lru_cache(maxsize=4096)
def _listed(word: str) -> tuple[Phones, ...]:
    if not _WORD.fullmatch(word):
        return ()
    for entries in (_trade_words(), _cmudict()):
        if found := tuple(_entries(entries, word)):
            return found
    return ()


def _entries(entries: Sequence[str], word: str) -> Iterator[Phones]:
    """Find the pronunciations of a word in sorted lines: "word PHONES", then "word(2) PHONES"."""
    for number in count(1):
        begin = f"{word} " if number == 1 else f"{word}({number}) "
        at = bisect_left(entries, begin)
        if at == len(entries) or not entries[at].startswith(begin):
            return
        yield tuple(entries[at].removeprefix(begin).split())


@lru_cache(maxsize=1)
def _cmudict() -> Sequence[str]:
    return sorted(gzip.decompress((_FOLDER / "cmudict.gz").read_bytes()).decode().splitlines())


@lru_cache(maxsize=1)
def _trade_words() -> Sequence[str]:
    lines = (_FOLDER / "trade.txt").read_text(encoding="utf-8").splitlines()
    return sorted(line.partition("#")[0].strip() for line in lines)


def _unstressed(spoken: Phones) -> Phones:
    return tuple(phone.rstrip("012") for phone in spoken)


def _unique(spoken: Iterator[Phones]) -> tuple[Phones, ...]:
    return tuple(dict.fromkeys(spoken))


# Accents: rules over stressed phones. They only add guesses to the listed pronunciations.


def _rewritten(spoken: Phones, rules: Sequence[tuple[str, str]]) -> Phones:
    text = f" {' '.join(spoken)} "
    for pattern, replacement in rules:
        text = re.sub(pattern, replacement, text)
    return tuple(text.split())


_VOWEL = "(?:[AEIO][A-Z]|U[HW])"  # of the 39 phones, those that begin with a vowel's letter
_BRITISH = (
    (r"(?<= )AA([012])(?= (?!R ))", r"AO\1"),  # "stop", "body"
    (r"(?<= )AE1(?= (?:F|S|TH|N [STD]|N CH|M P L) )", "AA1"),  # "last", "branch"
    (rf"(?<= )ER0(?= {_VOWEL})", "AH0 R"),  # "artery"
    (r"(?<= )ER0(?= )", "AH0"),  # "fissure"
    (rf"(?<= IH[12] )R(?= (?!{_VOWEL}))", "AH0"),  # "clear"
    (rf"(?<= )R(?= (?!{_VOWEL}))", ""),  # "port"
    (r"(?<= [TDN]) (?=UW)", " Y "),  # "duodenum", "tube"
)
_AMERICAN = (
    (rf"(?<= )(?<=[012R] )T(?= {_VOWEL}0)", "D"),  # flapped t: "artery", "negative"
    (r"(?<= )AO([012])(?= (?!R ))", r"AA\1"),  # "caught" as "cot"
)
_QUICK = (
    (r"(?<= [BDFGKPSTVZ] )[TD](?= $)", ""),  # "checklist" before a consonant
    (r"(?<= N )[TD](?= $)", ""),  # "stand"
    (r"(?<= )IH0(?= )", "AH0"),  # "divided"
)


def _british(spoken: Phones) -> Phones:
    return _rewritten(spoken, _BRITISH)


def _american(spoken: Phones) -> Phones:
    return _rewritten(spoken, _AMERICAN)


def _quick(spoken: Phones) -> Phones:
    return _rewritten(spoken, _QUICK)


# Distance: Levenshtein between two acyclic graphs of pronunciations, not between two strings.

_Paths: TypeAlias = tuple[tuple[tuple[int, str], ...], ...]
"""For each state, the arcs that enter it as (from state, phone); the last state is the end."""


@lru_cache(maxsize=1024)
def _joined(words: tuple[tuple[Phones, ...], ...]) -> _Paths:
    entering: list[list[tuple[int, str]]] = [[]]
    start = 0
    for spoken in words:
        ends = []
        for phones in spoken:
            state = start
            for phone in phones[:-1]:
                entering.append([(state, phone)])
                state = len(entering) - 1
            ends.append((state, phones[-1]))
        entering.append(ends)
        start = len(entering) - 1
    return tuple(map(tuple, entering))


def _paths(phrase: str, extra: Mapping[str, Sequence[str]] | None) -> _Paths:
    return _joined(tuple(pronunciations(word, extra) for word in phrase.split()))


def _fewest_edits(one: _Paths, other: _Paths) -> int:
    cost = [[0] * len(other) for _ in one]
    for i, arcs in enumerate(one):
        for j, others in enumerate(other):
            if i or j:
                dropped = [cost[k][j] + 1 for k, _ in arcs]
                added = [cost[i][m] + 1 for m, _ in others]
                changed = [cost[k][m] + (p != q) for k, p in arcs for m, q in others]
                cost[i][j] = min(dropped + added + changed)
    return cost[-1][-1]


def _longest(paths: _Paths) -> int:
    longest: list[int] = []
    for arcs in paths:
        longest.append(max((longest[k] + 1 for k, _ in arcs), default=0))
    return longest[-1]
