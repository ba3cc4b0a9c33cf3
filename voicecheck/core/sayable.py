"""All wordings of all meanings as one automaton over words: how many there are, and examples."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from voicecheck.core.inputs import Meaning


@dataclass(frozen=True, kw_only=True, slots=True)
class Sayable:
    """A wording is a way from a state that begins to one that ends, one word a state."""

    words: Sequence[Sequence[str]]
    """Which words a state takes."""
    after: Sequence[frozenset[int]]
    """Which states may come after it."""
    meanings: Sequence[Meaning]
    """The one meaning to which it leads."""
    begins: frozenset[int]
    ends: frozenset[int]

    def ways(self, meaning: Meaning | None = None) -> Ways:
        """Return the wordings of this meaning, or of all of them."""
        begins = (each for each in self.begins if meaning in (None, self.meanings[each]))
        return Ways(self, frozenset(begins))


_LONGEST_EXAMPLE = 7
"""Words; longer ones are seldom said in one breath. Common practice, no source."""

NOTHING = Sayable(words=(), after=(), meanings=(), begins=frozenset(), ends=frozenset())


@dataclass(frozen=True, slots=True)
class _Place:
    """After some words: the states that may come next, and what the words mean so far."""

    next: frozenset[int]
    meanings: frozenset[Meaning]


@dataclass(slots=True)
class Ways:
    """The same made deterministic: at each place, a word leads to one other place.

    Places are numbered from 0, where nothing has been said, and made when somebody comes by. The
    subset construction (Rabin and Scott, IBM Journal of Research and Development 3, 1959; from
    memory).
    """

    sayable: Sayable
    begins: frozenset[int]
    _places: list[_Place] = field(init=False)
    _numbers: dict[_Place, int] = field(init=False)
    _onward: dict[int, dict[str, int]] = field(default_factory=dict, init=False)
    _lengths: dict[tuple[int, int], int] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self._places = [_Place(self.begins, frozenset())]
        self._numbers = {self._places[0]: 0}

    def onward(self, place: int) -> Mapping[str, int]:
        """Return each word that may come next, and where it leads."""
        if place not in self._onward:
            takers: dict[str, list[int]] = {}
            for state in self._places[place].next:
                for word in self.sayable.words[state]:
                    takers.setdefault(word, []).append(state)
            alike: dict[tuple[int, ...], int] = {}
            for states in map(tuple, takers.values()):
                if states not in alike:
                    alike[states] = self._number(states)
            self._onward[place] = {word: alike[tuple(each)] for word, each in takers.items()}
        return self._onward[place]

    def meanings(self, place: int) -> frozenset[Meaning]:
        """Return what the words that lead here mean, if they are a whole wording."""
        return self._places[place].meanings

    def ahead(self, place: int) -> frozenset[Meaning]:
        """Return all that the words may yet come to mean."""
        sayable = self.sayable
        return frozenset(sayable.meanings[state] for state in self._places[place].next)

    def number(self) -> int:
        """Return how many wordings there are."""
        counted: dict[int, int] = {}
        waiting = [0]
        while waiting:
            onward = self.onward(waiting[-1]).values()
            if new := [each for each in set(onward) if each not in counted]:
                waiting += new
            else:
                place = waiting.pop()
                counted[place] = bool(self.meanings(place)) + sum(counted[each] for each in onward)
        return counted[0]

    def examples(self) -> Iterator[str]:
        """Yield one wording of each number of words, those of few words first, spread out."""
        lengths = [words for words in range(1, _LONGEST_EXAMPLE + 1) if self._of(words, 0)]
        for at, words in enumerate(lengths):
            yield " ".join(
                self._nth(words, (2 * at + 1) * self._of(words, 0) // (2 * len(lengths)))
            )

    def _of(self, words: int, place: int) -> int:
        """How many ways of so many words lead from here to an end."""
        if words == 0:
            return bool(self.meanings(place))
        if (words, place) not in self._lengths:
            onward = self.onward(place).values()
            self._lengths[words, place] = sum(self._of(words - 1, each) for each in onward)
        return self._lengths[words, place]

    def _nth(self, words: int, number: int) -> Iterator[str]:
        """The words of one of the wordings of this length, in the order of the alphabet."""
        place = 0
        for left in reversed(range(words)):
            for word, to in sorted(self.onward(place).items()):
                if number < self._of(left, to):
                    yield word
                    place = to
                    break
                number -= self._of(left, to)

    def _number(self, states: Iterable[int]) -> int:
        """The number of the place to which these states lead."""
        sayable = self.sayable
        place = _Place(
            frozenset().union(*(sayable.after[state] for state in states)),
            frozenset(sayable.meanings[state] for state in states if state in sayable.ends),
        )
        if place not in self._numbers:
            self._numbers[place] = len(self._places)
            self._places.append(place)
        return self._numbers[place]
