"""Trees of patterns -> one automaton over words, in which sentences are looked for.

It is Glushkov's (1961, from memory): one state for each word written in a pattern, but one for all
words of a choice between single words.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce

from .notation import InOrder, Maybe, OneOf, Parser, PatternError, Tree, Words


@dataclass(frozen=True, slots=True)
class _Part:
    """A piece of a pattern: where it may begin and end, and whether it may be empty."""

    first: frozenset[int]
    last: frozenset[int]
    may_be_empty: bool


_NOTHING = _Part(frozenset(), frozenset(), may_be_empty=True)


@dataclass(frozen=True, slots=True)
class _Rim:
    """The words that a tree may begin and end with."""

    first: Words
    last: Words
    may_be_empty: bool

    def then(self, other: _Rim) -> _Rim:
        """This, and then the other."""
        return _Rim(
            self.first | other.first if self.may_be_empty else self.first,
            self.last | other.last if other.may_be_empty else other.last,
            self.may_be_empty and other.may_be_empty,
        )

    def instead(self, other: _Rim) -> _Rim:
        """This or the other."""
        return _Rim(
            self.first | other.first,
            self.last | other.last,
            self.may_be_empty or other.may_be_empty,
        )


_EMPTY = _Rim(frozenset(), frozenset(), may_be_empty=True)


@dataclass(slots=True, eq=False)
class Following:
    """States that may come next; many states share it."""

    states: frozenset[int]
    _taking: dict[str, list[int]] = field(default_factory=dict)

    def taking(self, word: str, labels: Sequence[frozenset[str]]) -> Sequence[int]:
        """Return those of them that take a word."""
        if not self._taking:
            for state in sorted(self.states):
                for each in labels[state]:
                    self._taking.setdefault(each, []).append(state)
        return self._taking.get(word, ())


class Automaton:
    """The states of all patterns, each with the words that it takes and the states that follow.

    The states of a pattern are made when a sentence first has a word that begins it.
    """

    def __init__(self, pieces: Mapping[str, str]) -> None:
        self.labels: list[frozenset[str]] = []
        self.follow: list[list[Following]] = []
        self.ends: dict[int, Hashable] = {}
        """State that may end a pattern -> what the pattern means."""
        self._parser = Parser(pieces)
        self._patterns: list[tuple[Tree, Hashable]] = []
        self._made: set[int] = set()
        self._unmade: dict[str, list[int]] = {}  # word -> the patterns that it begins
        self._first: dict[str, list[int]] = {}  # word -> the states that begin a pattern
        self._rims: dict[int, _Rim] = {}
        self._beside: set[tuple[Words, Words]] = set()
        self._words: set[str] = set()

    def add(self, pattern: str, meaning: Hashable) -> None:
        """Add a pattern; raises PatternError."""
        tree = self._parser.tree(pattern)
        rim = self._rim(tree)
        if rim.may_be_empty:
            raise PatternError(f'"{pattern}" may be empty: nothing would mean something')
        for word in rim.first:
            self._unmade.setdefault(word, []).append(len(self._patterns))
        self._patterns.append((tree, meaning))

    def first(self, word: str) -> Sequence[int]:
        """Return the states that begin a pattern with this word."""
        for number in self._unmade.pop(word, ()):
            if number not in self._made:
                self._make(number)
        return self._first.get(word, ())

    def prepare(self) -> None:
        """Make the states of all patterns now: a second that no sentence need wait for."""
        for word in sorted(self._unmade):
            self.first(word)

    @property
    def begins(self) -> frozenset[str]:
        """Every word that may begin a pattern."""
        return frozenset().union(*(self._rim(tree).first for tree, _ in self._patterns))

    @property
    def last(self) -> frozenset[str]:
        """Every word that may end a pattern."""
        return frozenset().union(*(self._rim(tree).last for tree, _ in self._patterns))

    @property
    def words(self) -> frozenset[str]:
        """Every word of every pattern."""
        return frozenset(self._words)

    @property
    def beside(self) -> frozenset[tuple[Words, Words]]:
        """Words of which any stands beside any other in some pattern."""
        return frozenset(self._beside)

    def sentences(self, most_words: int) -> Iterator[str]:
        """Every sentence of all patterns with so many words at most, some perhaps twice."""
        waiting: list[tuple[int, tuple[str, ...]]]
        waiting = [(state, (word,)) for word in self.begins for state in self.first(word)]
        while waiting:
            state, words = waiting.pop()
            if state in self.ends:
                yield " ".join(words)
            if len(words) < most_words:
                waiting += [
                    (after, (*words, word))
                    for each in self.follow[state]
                    for after in each.states
                    for word in self.labels[after]
                ]

    def _rim(self, tree: Tree) -> _Rim:
        """What a tree begins and ends with; pieces are looked at once each."""
        if id(tree) not in self._rims:
            self._rims[id(tree)] = self._looked_at(tree)
        return self._rims[id(tree)]

    def _looked_at(self, tree: Tree) -> _Rim:
        match tree:
            case InOrder(parts):
                return reduce(self._met, map(self._rim, parts), _EMPTY)
            case OneOf(ways):
                return reduce(_Rim.instead, map(self._rim, ways))
            case Maybe(maybe):
                return _EMPTY.instead(self._rim(maybe))
            case words:
                self._words |= words
                return _Rim(words, words, may_be_empty=False)

    def _met(self, one: _Rim, other: _Rim) -> _Rim:
        if one.last and other.first:
            self._beside.add((one.last, other.first))
        return one.then(other)

    def _make(self, number: int) -> None:
        """Make the states of a pattern."""
        tree, meaning = self._patterns[number]
        self._made.add(number)
        part = self._built(tree)
        for state in sorted(part.first):
            for word in self.labels[state]:
                self._first.setdefault(word, []).append(state)
        for state in part.last:
            self.ends[state] = meaning

    def _built(self, tree: Tree) -> _Part:
        match tree:
            case InOrder(parts):
                return reduce(self._joined, map(self._built, parts), _NOTHING)
            case OneOf(ways):
                each = [self._built(way) for way in ways]
                return _Part(
                    frozenset().union(*(part.first for part in each)),
                    frozenset().union(*(part.last for part in each)),
                    any(part.may_be_empty for part in each),
                )
            case Maybe(maybe):
                inside = self._built(maybe)
                return _Part(inside.first, inside.last, may_be_empty=True)
            case words:
                self.labels.append(words)
                self.follow.append([])
                state = frozenset({len(self.labels) - 1})
                return _Part(state, state, may_be_empty=False)

    def _joined(self, one: _Part, other: _Part) -> _Part:
        if other.first:
            following = Following(other.first)
            for state in one.last:
                self.follow[state].append(following)
        return _Part(
            one.first | other.first if one.may_be_empty else one.first,
            one.last | other.last if other.may_be_empty else other.last,
            one.may_be_empty and other.may_be_empty,
        )
