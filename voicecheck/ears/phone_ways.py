"""All wordings as one deterministic automaton over phones, made where somebody comes by."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Unclear
from voicecheck.ears.lexicon import Phones, pronunciations

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from voicecheck.core.inputs import Meaning
    from voicecheck.core.procedure import Procedure

_Begun: TypeAlias = "tuple[tuple[Phones, int], ...]"
"""After some phones: those left of the words that may have been begun, and where each leads."""


class PhoneWays:
    """At each place, a phone leads to one other place; 0 is where nothing has been said."""

    def __init__(self, procedure: Procedure) -> None:
        self.ways = CURRENT.sayable(procedure).ways()
        self._procedure = procedure
        self._address = procedure.common.listening.address
        self._spoken: dict[str, tuple[Phones, ...]] = {}
        self._bits: dict[Meaning, int] = {}
        self._text = {0: ""}  # some words that lead to a place between words
        self._decided: dict[int, tuple[int, int]] = {}
        self._places: list[_Begun] = []
        self._numbers: dict[_Begun, int] = {}
        self._onward: dict[int, Mapping[str, int]] = {}
        self._ends: list[int] = []
        self._ahead: list[int] = []
        self._number((((), 0),))

    def these(self, meanings: Iterable[Meaning]) -> int:
        """Return the number that stands for a set of meanings."""
        return sum(self._bits.setdefault(each, 1 << len(self._bits)) for each in meanings)

    def onward(self, place: int) -> Mapping[str, int]:
        """Return each phone that may come next, and where it leads."""
        if place not in self._onward:
            after: dict[str, set[tuple[Phones, int]]] = {}
            for left, to in self._places[place]:
                for phones, end in [(left, to)] if left else self._words(to):
                    after.setdefault(phones[0], set()).add((phones[1:], end))
            self._onward[place] = {
                phone: self._number(tuple(sorted(each))) for phone, each in after.items()
            }
        return self._onward[place]

    def ends(self, place: int) -> int:
        """Return the set of what the wordings that end here mean."""
        return self._ends[place]

    def ahead(self, place: int) -> int:
        """Return the set of what may yet come of it."""
        return self._ahead[place]

    def words(self, *spoken: Phones) -> Iterator[list[tuple[Meaning | Unclear, str]]]:
        """Yield for phones all that they may say, and what it means."""
        for phones in spoken:
            said: list[tuple[Phones, int, tuple[str, ...]]] = [((), 0, ())]
            for phone in phones:
                said = [
                    (left[1:], to, words)
                    for before, place, so_far in said
                    for left, to, words in self._next(before, place, so_far)
                    if left[0] == phone
                ]
            texts = (" ".join(words) for left, _, words in said if not left)
            yield [(self._meaning(text), text) for text in texts]

    def _next(
        self, left: Phones, place: int, so_far: tuple[str, ...]
    ) -> Iterator[tuple[Phones, int, tuple[str, ...]]]:
        if left:
            yield left, place, so_far
            return
        for word, to in self.ways.onward(place).items():
            for phones in self._pronounced(word):
                yield phones, to, (*so_far, word)

    def _words(self, place: int) -> Iterator[tuple[Phones, int]]:
        """The phones of each word that may come next, and where it leads."""
        for word, to in self.ways.onward(place).items():
            if to not in self._text:
                self._text[to] = f"{self._text[place]} {word}".strip()
            for phones in self._pronounced(word):
                yield phones, to

    def _pronounced(self, word: str) -> tuple[Phones, ...]:
        if word not in self._spoken:
            self._spoken[word] = pronunciations(word, self._procedure.file.lexicon)
        return self._spoken[word]

    def _number(self, place: _Begun) -> int:
        if place not in self._numbers:
            self._numbers[place] = len(self._places)
            self._places.append(place)
            ends = ahead = 0
            for left, to in place:
                here, later = self._meant(to)
                ends |= 0 if left else here
                ahead |= here | later
            self._ends.append(ends)
            self._ahead.append(ahead)
        return self._numbers[place]

    def _meant(self, place: int) -> tuple[int, int]:
        """The sets of what wordings mean that end here between words, and of what is ahead.

        The rules decide what they mean if patterns of several meanings take them.
        """
        if place not in self._decided:
            ends = self.ways.meanings(place)
            if len(ends) > 1:
                meaning = self._meaning(self._text[place])
                ends = frozenset(() if isinstance(meaning, Unclear) else (meaning,))
            self._decided[place] = self.these(ends), self.these(self.ways.ahead(place))
        return self._decided[place]

    def _meaning(self, text: str) -> Meaning | Unclear:
        return CURRENT.interpret(self._procedure, f"{self._address} {text}")
